//! Accounts, their roles, and tokens for programs.

use crate::model::identifiers::SiteId;
use crate::model::shape::{Faults, Shape};
use crate::model::text::Line;
use crate::{record, words};
use chrono::NaiveDate;
use serde_json::{Value, json};

words! {
    /// What an account is there for.
    pub enum Role {
        /// Accounts, tokens and sites; no exposure of a named worker.
        Administrator = "administrator",
        /// Every fact on its sites, acceptance, voiding and judgements.
        Hygienist = "hygienist",
        /// Enters facts on its sites.
        Coordinator = "coordinator",
        /// Every worker's history on all sites.
        Physician = "physician",
        /// Reads all sites, changes nothing.
        Corporate = "corporate",
    }
}

/// An e-mail address, kept in lower case.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Email(String);

impl Email {
    /// Takes an address with one `@`, something on both sides and no blanks.
    pub fn new(text: &str) -> Option<Self> {
        let text = text.trim().to_lowercase();
        let plain = text.len() <= 254 && !text.chars().any(|c| c.is_whitespace() || c.is_control());
        let (before, after) = text.split_once('@')?;
        (plain && !before.is_empty() && !after.is_empty() && !after.contains('@')).then_some(Self(text))
    }

    /// The address.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Shape for Email {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(Self::new);
        if read.is_none() {
            faults.note(at, "must be an e-mail address");
        }
        read
    }

    fn write(&self) -> Option<Value> {
        Some(Value::String(self.0.clone()))
    }

    fn schema() -> Value {
        json!({"type": "string", "format": "email", "maxLength": 254})
    }
}

record! {
    /// A role on all sites or on named ones.
    pub struct Grant {
        /// The role.
        role: Role,
        /// The sites it holds on; left out: all sites.
        site_ids: Option<Vec<SiteId>>,
    }
}

record! {
    /// An account of a person or a program.
    pub struct Account {
        /// The address it is known by.
        email: Email,
        /// What it may do, and where.
        roles: Vec<Grant>,
    }
}

words! {
    /// What a token opens.
    pub enum TokenUse {
        /// The API, as its account.
        Api = "api",
        /// The calendar of due dates that its account sees, and nothing else: calendar programs keep it in an address.
        Calendar = "calendar",
    }
}

record! {
    /// A token of an account; the secret itself is shown once and only its digest is kept.
    pub struct Token {
        /// What it is for.
        label: Line,
        /// What it opens; left out: the API.
        opens: Option<TokenUse>,
        /// The first day on which it no longer works.
        expires_on: NaiveDate,
    }
}
