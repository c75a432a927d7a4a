//! Questions to real archives.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod days;
mod races;
mod spans;
mod support;
