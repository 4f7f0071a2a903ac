//! The two cookies: of the session, and of a device that was used before.

use crate::pages::settings::PageSettings;
use axum::http::{HeaderMap, header};

/// Which cookie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cookie {
    /// The session; it ends with the browser, and at the registry before that.
    Session,
    /// A device with which somebody signed in: guesses from elsewhere do not make it wait.
    Device,
}

/// How long a device is known: half a year.
const DEVICE_SECONDS: u32 = 180 * 24 * 60 * 60;

impl Cookie {
    /// Its name: with the prefix that binds it to this host and to TLS, but on plain loopback, where browsers refuse that.
    fn name(self, settings: &PageSettings) -> &'static str {
        match (self, settings.is_secure()) {
            (Self::Session, true) => "__Host-doseward-session",
            (Self::Session, false) => "doseward-session",
            (Self::Device, true) => "__Host-doseward-device",
            (Self::Device, false) => "doseward-device",
        }
    }

    /// Its value in a request.
    pub fn value<'h>(self, settings: &PageSettings, headers: &'h HeaderMap) -> Option<&'h str> {
        let name = self.name(settings);
        let lines = headers.get_all(header::COOKIE).iter().filter_map(|line| line.to_str().ok());
        lines
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().split_once('='))
            .find(|(given, value)| *given == name && !value.is_empty())
            .map(|(_, value)| value)
    }

    /// What sets it.
    pub fn set(self, settings: &PageSettings, value: &str) -> String {
        let age = match self {
            Self::Session => String::new(),
            Self::Device => format!("; Max-Age={DEVICE_SECONDS}"),
        };
        format!(
            "{}={value}; Path=/; HttpOnly; SameSite={}{}{age}",
            self.name(settings),
            self.same_site(),
            secure(settings)
        )
    }

    /// What takes it back.
    pub fn clear(self, settings: &PageSettings) -> String {
        let same_site = self.same_site();
        format!(
            "{}=; Path=/; HttpOnly; SameSite={same_site}{}; Max-Age=0",
            self.name(settings),
            secure(settings)
        )
    }

    /// The session comes along with links from elsewhere (a letter, a calendar), never with forms from elsewhere.
    const fn same_site(self) -> &'static str {
        match self {
            Self::Session => "Lax",
            Self::Device => "Strict",
        }
    }
}

fn secure(settings: &PageSettings) -> &'static str {
    if settings.is_secure() { "; Secure" } else { "" }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    #[test]
    fn over_tls_the_cookie_is_bound_to_the_host_and_on_loopback_it_has_another_name() {
        let tls =
            PageSettings { public_url: Some("https://registry.example".into()), ..PageSettings::default() };
        assert_eq!(
            Cookie::Session.set(&tls, "x"),
            "__Host-doseward-session=x; Path=/; HttpOnly; SameSite=Lax; Secure"
        );
        let here = PageSettings::default();
        assert_eq!(Cookie::Session.set(&here, "x"), "doseward-session=x; Path=/; HttpOnly; SameSite=Lax");
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_static("a=b; doseward-session=y; c=d"));
        assert_eq!(Cookie::Session.value(&here, &headers), Some("y"));
        assert_eq!(Cookie::Session.value(&tls, &headers), None);
    }
}
