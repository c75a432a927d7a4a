//! A real `rimeline serve` process, its command line, and foreign programs.
#![allow(dead_code)]

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

const BINARY: &str = env!("CARGO_BIN_EXE_rimeline");
const PATIENCE: Duration = Duration::from_secs(60);

/// A service on a data folder of its own.
pub struct Service {
    pub data: TempDir,
    process: Child,
    pub address: String,
    clock: &'static str,
}

impl Service {
    pub fn start(clock: &'static str) -> Self {
        let data = tempfile::tempdir().unwrap();
        let (process, address) = spawn(data.path(), clock, "127.0.0.1:0");
        Self { data, process, address, clock }
    }

    pub fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// SIGKILL: nothing is flushed, nothing is told.
    pub fn kill(&mut self) {
        self.process.kill().unwrap();
        self.process.wait().unwrap();
    }

    /// Starts it again on the same data and the same address.
    pub fn start_again(&mut self) {
        let (process, address) = spawn(self.data.path(), self.clock, &self.address);
        (self.process, self.address) = (process, address);
    }

    /// SIGTERM, and everything that is buffered goes to disk; panics where it ends badly.
    pub fn stop(&mut self) {
        let pid = self.process.id().to_string();
        assert!(Command::new("kill").arg(pid).status().unwrap().success());
        let status = self.process.wait().unwrap();
        assert!(status.success(), "the service ended with {status}");
    }

    /// Runs a client command against it.
    pub fn run(&self, arguments: &[&str]) -> Output {
        Command::new(BINARY).args(arguments).env("RIMELINE_SERVER", self.url()).output().unwrap()
    }

    /// Runs a client command that has to succeed, and gives its standard output.
    pub fn ok(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            output.status.success(),
            "{arguments:?}\n{text}\n{}",
            String::from_utf8_lossy(&output.stderr)
        );
        text
    }

    /// One JSON object a line.
    pub fn json(&self, arguments: &[&str]) -> Vec<Value> {
        self.ok(arguments).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    /// Waits until the unit has been assessed to `readings` rows.
    pub fn wait_for_readings(&self, unit: &str, readings: u64) -> Value {
        let started = Instant::now();
        loop {
            let output = self.run(&["unit", unit, "--json"]);
            if output.status.success() {
                let value: Value = serde_json::from_slice(&output.stdout).unwrap();
                if value["readings"].as_u64() >= Some(readings) {
                    return value;
                }
            }
            assert!(started.elapsed() < PATIENCE, "{unit} never had {readings} readings");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn archive(&self) -> PathBuf {
        self.data.path().join("archive")
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn spawn(data: &Path, clock: &str, listen: &str) -> (Child, String) {
    let address_file = data.join("address");
    let _ = std::fs::remove_file(&address_file);
    let process = Command::new(BINARY)
        .args(["serve", "--clock", clock, "--listen", listen, "--data"])
        .arg(data)
        .arg("--address-file")
        .arg(&address_file)
        .env("RIMELINE_LOG", "warn")
        .env("RIMELINE_ARCHIVIST__FLUSH_SECONDS", "1")
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let started = Instant::now();
    loop {
        match std::fs::read_to_string(&address_file) {
            Ok(address) if !address.is_empty() => return (process, address),
            _ => std::thread::sleep(Duration::from_millis(10)),
        }
        assert!(started.elapsed() < PATIENCE, "the service did not come up");
    }
}

pub fn binary() -> Command {
    Command::new(BINARY)
}

pub fn repository() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").canonicalize().unwrap()
}

pub fn mapping(name: &str) -> String {
    repository().join("tests/mappings").join(name).display().to_string()
}

/// The interpreter with DuckDB, pyarrow and grpcio that `tests/run` prepares; `None`, with a printed reason, without.
pub fn python(what: &str) -> Option<Command> {
    let python = std::env::var_os("RIMELINE_TEST_PYTHON").map(Command::new);
    if python.is_none() {
        eprintln!("skipped: {what} needs RIMELINE_TEST_PYTHON, which tests/run sets");
    }
    python
}

/// Runs a Python script that has to succeed.
pub fn python_ok(mut command: Command, arguments: &[&str]) -> String {
    let output = command.args(arguments).current_dir(repository()).output().unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{arguments:?}\n{text}\n{}", String::from_utf8_lossy(&output.stderr));
    text
}

/// A folder of measured data; `None`, with a printed reason, where it is absent.
pub fn measured(folder: &str) -> Option<PathBuf> {
    let root = std::env::var_os("RIMELINE_MEASURED_DATA")
        .map_or_else(|| repository().join("../shared/data"), PathBuf::from);
    let path = root.join(folder);
    if path.is_dir() {
        return Some(path);
    }
    eprintln!(
        "skipped: there is no {}; set RIMELINE_MEASURED_DATA to the folder of measured data",
        path.display()
    );
    None
}

/// A folder named by the environment; `None`, with a printed reason, without.
pub fn folder_of(variable: &str) -> Option<PathBuf> {
    let folder = std::env::var_os(variable).map(PathBuf::from);
    if folder.is_none() {
        eprintln!("skipped: {variable} is not set; tests/run fetches the package and sets it");
    }
    folder
}
