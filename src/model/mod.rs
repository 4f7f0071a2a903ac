//! What things are: identifiers, quantities with units, and the facts. Parsed once, valid ever after.

pub mod declare;
pub mod facts;
pub mod identifiers;
pub mod magnitude;
pub mod measured;
pub mod printed;
pub mod quantity;
pub mod rounding;
pub mod shape;
pub mod text;
pub mod unit;
pub mod version;
pub mod working;
