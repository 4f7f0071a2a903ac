//! From where a request comes: the peer's address, or what a proxy named in the settings says of it.

use axum::extract::ConnectInfo;
use axum::http::{Extensions, HeaderMap};
use std::net::{IpAddr, SocketAddr};

/// The header in which a proxy names the client before it.
const FORWARDED_FOR: &str = "x-forwarded-for";

/// The proxies that are believed.
#[derive(Debug, Clone, Default)]
pub struct Proxies(Vec<IpAddr>);

impl Proxies {
    /// These ones.
    pub fn new(addresses: Vec<IpAddr>) -> Self {
        Self(addresses)
    }

    fn hold(&self, address: IpAddr) -> bool {
        self.0.contains(&address.to_canonical())
    }

    /// The client of a request, where it came over a network.
    ///
    /// Each proxy adds the address it was reached from at the end of the header. Read from there, the first that is no proxy
    /// of ours is the client; whatever stands before it anybody could have written.
    pub(crate) fn client(&self, extensions: &Extensions, headers: &HeaderMap) -> Option<IpAddr> {
        let ConnectInfo(peer) = extensions.get::<ConnectInfo<SocketAddr>>()?;
        let mut client = peer.ip().to_canonical();
        let given: Vec<&str> = headers
            .get_all(FORWARDED_FOR)
            .iter()
            .flat_map(|value| value.to_str().unwrap_or_default().split(','))
            .map(str::trim)
            .collect();
        for before in given.into_iter().rev() {
            if !self.hold(client) {
                break;
            }
            // What is no address says nothing: then the proxy is all that is known.
            let Ok(before) = before.parse::<IpAddr>() else { break };
            client = before.to_canonical();
        }
        Some(client)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn client(proxies: &[&str], peer: &str, header: &str) -> String {
        let proxies = Proxies::new(proxies.iter().map(|proxy| proxy.parse().unwrap()).collect());
        let mut extensions = Extensions::new();
        extensions.insert(ConnectInfo(SocketAddr::new(peer.parse().unwrap(), 4000)));
        let mut headers = HeaderMap::new();
        if !header.is_empty() {
            headers.insert(FORWARDED_FOR, HeaderValue::from_str(header).unwrap());
        }
        proxies.client(&extensions, &headers).unwrap().to_string()
    }

    // Addresses of documentation: RFC 5737, RFC 3849.
    #[test]
    fn a_proxy_is_believed_only_where_the_settings_name_it() {
        assert_eq!(client(&[], "192.0.2.1", "198.51.100.7"), "192.0.2.1");
        assert_eq!(client(&["192.0.2.9"], "192.0.2.1", "198.51.100.7"), "192.0.2.1");
        assert_eq!(client(&["192.0.2.1"], "192.0.2.1", "198.51.100.7"), "198.51.100.7");
        assert_eq!(client(&["192.0.2.1"], "::ffff:192.0.2.1", "2001:db8::7"), "2001:db8::7");
        assert_eq!(client(&["192.0.2.1"], "192.0.2.1", ""), "192.0.2.1");
    }

    #[test]
    fn what_a_client_writes_itself_stands_before_and_is_not_read() {
        let proxies = ["192.0.2.1", "192.0.2.2"];
        assert_eq!(client(&proxies, "192.0.2.1", "203.0.113.5, 198.51.100.7"), "198.51.100.7");
        assert_eq!(client(&proxies, "192.0.2.1", "203.0.113.5, 198.51.100.7, 192.0.2.2"), "198.51.100.7");
        assert_eq!(client(&proxies, "192.0.2.1", "203.0.113.5, somebody"), "192.0.2.1");
    }
}
