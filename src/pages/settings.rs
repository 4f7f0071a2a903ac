//! How the pages are reached: over TLS behind an address of their own, or on this machine alone.

use std::net::IpAddr;

/// How the pages are reached.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PageSettings {
    /// The address that people type in, `https://…`; without one the pages open on this machine alone.
    pub public_url: Option<String>,
    /// Whose word on where a request came from is taken.
    pub proxies: Vec<IpAddr>,
    /// Whether this is the demonstration: no second factor, and the pages say so.
    pub demonstration: bool,
}

impl PageSettings {
    /// Whether cookies go over TLS only.
    pub fn is_secure(&self) -> bool {
        self.public_url.as_ref().is_some_and(|url| url.starts_with("https://"))
    }

    /// Host and port of the public address.
    pub fn host(&self) -> Option<&str> {
        let url = self.public_url.as_ref()?;
        let (_, rest) = url.split_once("://")?;
        rest.split('/').next()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_host_is_what_stands_between_scheme_and_path() {
        let at = |url: &str| PageSettings { public_url: Some(url.into()), ..PageSettings::default() };
        assert_eq!(at("https://registry.example:8443/x").host(), Some("registry.example:8443"));
        assert!(at("https://registry.example").is_secure());
        assert!(!PageSettings::default().is_secure());
    }
}
