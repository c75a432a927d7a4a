//! The archive role: journal in, Parquet out.
