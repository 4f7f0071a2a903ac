//! The record: that nothing acknowledged is lost, and that every change to it by the back door is found.
//!
//! Runs on SQLite, or on PostgreSQL where `TEST_DATABASE_URL` names a server on which databases may be made.

#[cfg(test)]
mod access_log;
#[cfg(test)]
mod anchors;
#[cfg(test)]
mod as_known_on;
#[cfg(test)]
mod backup;
#[cfg(test)]
mod fresh;
#[cfg(test)]
mod keys;
#[cfg(test)]
mod kill;
#[cfg(test)]
mod originals;
#[cfg(test)]
mod plant;
#[cfg(test)]
mod rebuilding;
#[cfg(test)]
mod several;
#[cfg(test)]
mod sight;
#[cfg(test)]
mod starting;
#[cfg(test)]
mod tampering;
#[cfg(test)]
mod upgrading;
#[cfg(test)]
mod writers;
