//! Forms that come from elsewhere are refused: by what the browser says of their origin, and by a token of the session.

use crate::pages::settings::PageSettings;
use axum::http::{HeaderMap, header};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use sha2::{Digest as _, Sha256};

/// The field that carries the token.
pub const FIELD: &str = "form_token";

/// The token of a session's forms: only who has the session can tell it, and it tells nothing of the session.
pub fn token(session_secret: &str) -> String {
    let digest = Sha256::new_with_prefix(b"form\0").chain_update(session_secret.as_bytes()).finalize();
    URL_SAFE_NO_PAD.encode(&digest[..24])
}

/// Whether a form carries the token of its session.
pub fn is_token_of(session_secret: &str, given: &str) -> bool {
    // Digests are compared, so that how far two agree tells nothing.
    Sha256::digest(token(session_secret)) == Sha256::digest(given)
}

/// Whether a form was sent from a page of ours. A browser that says nothing of it is not believed.
pub fn is_from_our_page(settings: &PageSettings, headers: &HeaderMap) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or_default());
    match text("sec-fetch-site") {
        Some("same-origin") | None => {}
        Some(_) => return false,
    }
    let Some(origin) = text("origin") else { return text("sec-fetch-site").is_some() };
    let Some((scheme, host)) = origin.split_once("://") else { return false };
    let host_asked = headers.get(header::HOST).and_then(|host| host.to_str().ok());
    match settings.host() {
        Some(ours) => host == ours && (scheme == "https") == settings.is_secure(),
        None => scheme == "http" && Some(host) == host_asked,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    fn headers(pairs: &[(&'static str, &'static str)]) -> HeaderMap {
        let pairs = pairs
            .iter()
            .map(|(name, value)| (HeaderName::from_static(name), HeaderValue::from_static(value)));
        pairs.collect()
    }

    #[test]
    fn a_form_from_elsewhere_and_one_that_does_not_say_are_not_ours() {
        let here = PageSettings::default();
        let host = ("host", "127.0.0.1:8470");
        let ours = |pairs: &[(&'static str, &'static str)]| is_from_our_page(&here, &headers(pairs));
        assert!(ours(&[host, ("origin", "http://127.0.0.1:8470")]));
        assert!(ours(&[host, ("sec-fetch-site", "same-origin")]));
        assert!(!ours(&[host]));
        assert!(!ours(&[host, ("origin", "null")]));
        assert!(!ours(&[host, ("origin", "http://127.0.0.1:8471")]));
        assert!(!ours(&[host, ("origin", "http://127.0.0.1:8470"), ("sec-fetch-site", "same-site")]));
        assert!(!ours(&[host, ("sec-fetch-site", "cross-site")]));
    }

    #[test]
    fn behind_a_public_address_only_that_one_is_ours_whatever_the_host_says() {
        let tls =
            PageSettings { public_url: Some("https://registry.example".into()), ..PageSettings::default() };
        let from = |origin| is_from_our_page(&tls, &headers(&[("host", "evil.example"), ("origin", origin)]));
        assert!(from("https://registry.example"));
        assert!(!from("https://evil.example"));
        assert!(!from("http://registry.example"));
    }

    #[test]
    fn a_token_belongs_to_one_session() {
        assert!(is_token_of("a", &token("a")));
        assert!(!is_token_of("b", &token("a")));
        assert!(!is_token_of("a", ""));
    }
}
