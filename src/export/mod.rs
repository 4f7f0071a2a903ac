//! Data taken out as files. A row is a [`record!`](crate::record); its columns are the record's fields in their order.

pub mod access_log;
pub mod csv;
pub mod examiner_packet;
pub mod fhir;
pub mod icalendar;
pub mod letter;
pub mod paper;
pub mod record_package;
pub mod taken;
