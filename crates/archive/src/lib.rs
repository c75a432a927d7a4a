//! Parquet written atomically, and the manifest that names it.
