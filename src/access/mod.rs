//! Who may do what, and where: roles, scopes and the one policy table. Pure.

pub mod caller;
pub mod policy;
pub mod scope;
