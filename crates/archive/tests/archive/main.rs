//! The archive on a real directory, through every crash.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod crash;
mod keeping;
mod merging;
mod openness;
mod support;
mod verifying;
