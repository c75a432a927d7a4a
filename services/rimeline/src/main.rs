//! wiring
fn main() {}
