use std::{
    fs::File,
    io::{self, Read, Seek as _},
    path::PathBuf,
};

use bytes::Bytes;

/// A file of readings: a path, or what stands for one.
pub struct Source {
    pub(crate) name: String,
    pub(crate) body: Body,
}

pub(crate) enum Body {
    Path(PathBuf),
    Csv(Box<dyn Read + Send>),
    Parquet(Bytes),
}

/// A source whose kind is known.
pub(crate) enum Opened {
    Csv(Box<dyn Read + Send>),
    ParquetFile(File),
    ParquetBytes(Bytes),
}

impl Source {
    /// A file. It is opened when its turn comes; its first bytes say whether it is Parquet, else it is CSV.
    pub fn path(path: impl Into<PathBuf>) -> Self {
        let path = path.into();
        Self { name: path.display().to_string(), body: Body::Path(path) }
    }

    /// CSV text; `name` stands for it in problems.
    pub fn csv(name: impl Into<String>, text: impl Read + Send + 'static) -> Self {
        Self { name: name.into(), body: Body::Csv(Box::new(text)) }
    }

    /// A whole Parquet file in memory; `name` stands for it in problems.
    pub fn parquet(name: impl Into<String>, file: impl Into<Bytes>) -> Self {
        Self { name: name.into(), body: Body::Parquet(file.into()) }
    }

    /// The file's name without folder and without what follows its last dot.
    pub(crate) fn stem(name: &str) -> &str {
        let file = name.rsplit(['/', '\\']).next().unwrap_or(name);
        match file.rsplit_once('.') {
            Some((stem, _)) if !stem.is_empty() => stem,
            _ => file,
        }
    }
}

impl Body {
    pub(crate) fn open(self) -> io::Result<Opened> {
        match self {
            Body::Csv(text) => Ok(Opened::Csv(text)),
            Body::Parquet(bytes) => Ok(Opened::ParquetBytes(bytes)),
            Body::Path(path) => {
                let mut file = File::open(path)?;
                let mut first = Vec::with_capacity(4);
                file.by_ref().take(4).read_to_end(&mut first)?;
                file.rewind()?;
                Ok(if first == b"PAR1" { Opened::ParquetFile(file) } else { Opened::Csv(Box::new(file)) })
            }
        }
    }
}
