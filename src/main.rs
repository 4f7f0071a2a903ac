//! The command line of the registry.

fn main() {}
