//! Who may ask: the right host, the right origin, the key of this run.

use std::net::{IpAddr, SocketAddr};

use axum::http::header::{AUTHORIZATION, COOKIE, HOST, ORIGIN};
use axum::http::{HeaderMap, HeaderName, Method, StatusCode, Uri};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

use crate::error::CliError;

/// Bytes of the key.
const TOKEN_BYTES: usize = 32;

/// Where a browser says which page a request comes from.
const SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

/// Name of the key in the address.
const TOKEN_FIELD: &str = "token=";

/// What the page and its answers may load and do: only what comes from this server.
pub const POLICY: &str =
    "default-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'; object-src 'none'";

/// Who may ask.
#[derive(Debug)]
pub struct Guard {
    address: IpAddr,
    port: String,
    cookie: String,
    /// Digest of the key: comparing digests tells nothing of the key by the time it takes.
    key: [u8; 32],
}

/// Why a request is refused.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refusal {
    /// Status.
    pub status: StatusCode,
    /// Short code.
    pub code: &'static str,
    /// What to say.
    pub message: &'static str,
}

impl Refusal {
    /// It was meant for another host: another name was made to point here.
    const HOST: Refusal = Refusal {
        status: StatusCode::MISDIRECTED_REQUEST,
        code: "host",
        message: "this is not the host that was asked for",
    };
    /// It comes from another page.
    const ORIGIN: Refusal =
        Refusal { status: StatusCode::FORBIDDEN, code: "origin", message: "another page may not ask" };
    /// It has no key, or a wrong one.
    const TOKEN: Refusal = Refusal {
        status: StatusCode::FORBIDDEN,
        code: "token",
        message: "open the whole address that `barwright page` printed: it holds the key",
    };
}

/// How a request showed the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// In the address: a cookie is to be set.
    Address,
    /// In the cookie.
    Cookie,
    /// In a header that no other page can set.
    Header,
}

impl Guard {
    /// Makes a guard with a new key; returns the key too.
    ///
    /// # Errors
    /// The system has no random numbers.
    pub fn new(address: SocketAddr) -> Result<(Self, String), CliError> {
        let mut bytes = [0; TOKEN_BYTES];
        getrandom::fill(&mut bytes).map_err(|error| CliError::internal(format!("no key could be made: {error}")))?;
        let token: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        let port = address.port().to_string();
        let cookie = format!("barwright-{port}=");
        Ok((Guard { address: address.ip(), port, cookie, key: Sha256::digest(token.as_bytes()).into() }, token))
    }

    /// Looks at a request.
    ///
    /// # Errors
    /// Why it is refused.
    pub fn check(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<Shown, Refusal> {
        let host = only(headers, &HOST).flatten().filter(|host| self.is_ours(host)).ok_or(Refusal::HOST)?;
        if uri.authority().is_some_and(|authority| !self.is_ours(authority.as_str())) {
            return Err(Refusal::HOST);
        }
        let origin = only(headers, &ORIGIN).ok_or(Refusal::ORIGIN)?;
        let site = only(headers, &SEC_FETCH_SITE).ok_or(Refusal::ORIGIN)?;
        let reads = method == Method::GET || method == Method::HEAD;
        let own = |origin: &str| origin.strip_prefix("http://").is_some_and(|of| of.eq_ignore_ascii_case(host));
        if origin.is_some_and(|origin| !own(origin))
            || site.is_some_and(|site| site != "same-origin" && !(reads && site == "none"))
        {
            return Err(Refusal::ORIGIN);
        }
        let shown = self.key_of(uri, headers).ok_or(Refusal::TOKEN)?;
        // What changes or computes must say where it comes from, or carry what only this page and the maker know.
        if !reads && shown != Shown::Header && origin.is_none() && site.is_none() {
            return Err(Refusal::ORIGIN);
        }
        Ok(shown)
    }

    /// The header that keeps the key in the browser.
    pub fn cookie(&self, uri: &Uri) -> Option<String> {
        let token = in_address(uri)?;
        Some(format!("{}{token}; HttpOnly; SameSite=Strict; Path=/", self.cookie))
    }

    /// How the key was shown, if it was.
    fn key_of(&self, uri: &Uri, headers: &HeaderMap) -> Option<Shown> {
        let right = |token: &str| <[u8; 32]>::from(Sha256::digest(token.as_bytes())) == self.key;
        if let Some(written) = only(headers, &AUTHORIZATION)? {
            return written.strip_prefix("Bearer ").filter(|token| right(token)).map(|_| Shown::Header);
        }
        if uri.path() == "/" && in_address(uri).is_some_and(right) {
            return Some(Shown::Address);
        }
        let mut cookies = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        let found = cookies
            .any(|all| all.split(';').filter_map(|one| one.trim().strip_prefix(self.cookie.as_str())).any(right));
        found.then_some(Shown::Cookie)
    }

    /// Whether a host with its port is this server.
    fn is_ours(&self, host: &str) -> bool {
        host.rsplit_once(':').is_some_and(|(name, port)| port == self.port && self.is_our_name(name))
    }

    /// Whether a name is one of this server. A number cannot be made to point elsewhere, a name can.
    fn is_our_name(&self, name: &str) -> bool {
        if name.eq_ignore_ascii_case("localhost") {
            return self.address.is_loopback() || self.address.is_unspecified();
        }
        let number = match name.strip_prefix('[') {
            Some(rest) => rest.strip_suffix(']').and_then(|number| number.parse().ok()).map(IpAddr::V6),
            None => name.parse().ok().map(IpAddr::V4),
        };
        number.is_some_and(|number| number == self.address || self.address.is_unspecified())
    }
}

/// The key in an address.
fn in_address(uri: &Uri) -> Option<&str> {
    uri.query()?.split('&').find_map(|field| field.strip_prefix(TOKEN_FIELD))
}

/// A header that may stand once: `None` when it stands twice or is no text, `Some(None)` when it is not there.
fn only<'h>(headers: &'h HeaderMap, name: &HeaderName) -> Option<Option<&'h str>> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (None, _) => Some(None),
        (Some(one), None) => one.to_str().ok().map(Some),
        (Some(_), Some(_)) => None,
    }
}

/// The policy of a page with one style sheet inside and nothing else.
pub fn policy_with_style(style: &str) -> String {
    format!(
        "default-src 'none'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        STANDARD.encode(Sha256::digest(style.as_bytes()))
    )
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    fn guard() -> (Guard, String) {
        Guard::new("127.0.0.1:8520".parse().unwrap()).unwrap()
    }

    fn headers(lines: &[(&str, &str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in lines {
            headers.append(HeaderName::from_bytes(name.as_bytes()).unwrap(), value.parse().unwrap());
        }
        headers
    }

    #[test]
    fn only_this_host_by_number_or_localhost_is_ours() {
        let (guard, _) = guard();
        for host in ["127.0.0.1:8520", "localhost:8520", "LOCALHOST:8520"] {
            assert!(guard.is_ours(host), "{host}");
        }
        for host in [
            "127.0.0.1",
            "127.0.0.1:80",
            "127.0.0.1:+8520",
            "127.0.0.1:08520",
            "evil.example:8520",
            "localhost.:8520",
            "[::1]:8520",
            "127.1:8520",
            "0.0.0.0:8520",
            "127.0.0.2:8520",
            "x@127.0.0.1:8520",
            "",
            ":8520",
            "localhost:8520:8520",
        ] {
            assert!(!guard.is_ours(host), "{host}");
        }
    }

    #[test]
    fn what_computes_must_come_from_the_page_itself() {
        let (guard, token) = guard();
        let cookie = format!("barwright-8520={token}");
        let host = ("host", "127.0.0.1:8520");
        let uri: Uri = "/api/assess".parse().unwrap();
        let check = |method: &Method, more: &[(&str, &str)]| {
            let mut lines = vec![host, ("cookie", cookie.as_str())];
            lines.extend(more);
            guard.check(method, &uri, &headers(&lines))
        };
        let own = ("origin", "http://127.0.0.1:8520");
        assert_eq!(check(&Method::GET, &[]), Ok(Shown::Cookie));
        assert_eq!(check(&Method::POST, &[own]), Ok(Shown::Cookie));
        assert_eq!(check(&Method::POST, &[("sec-fetch-site", "same-origin")]), Ok(Shown::Cookie));
        assert_eq!(check(&Method::POST, &[]), Err(Refusal::ORIGIN));
        for other in
            ["null", "http://127.0.0.1:8521", "https://127.0.0.1:8520", "http://localhost:8520", "http://evil.example"]
        {
            assert_eq!(check(&Method::POST, &[("origin", other)]), Err(Refusal::ORIGIN), "{other}");
            assert_eq!(check(&Method::GET, &[("origin", other)]), Err(Refusal::ORIGIN), "{other}");
        }
        for site in ["cross-site", "same-site", "none"] {
            assert_eq!(check(&Method::POST, &[own, ("sec-fetch-site", site)]), Err(Refusal::ORIGIN), "{site}");
        }
        assert_eq!(check(&Method::POST, &[own, own]), Err(Refusal::ORIGIN));
        let bearer = format!("Bearer {token}");
        let alone = headers(&[host, ("authorization", &bearer)]);
        assert_eq!(guard.check(&Method::POST, &uri, &alone), Ok(Shown::Header));
        assert_eq!(guard.check(&Method::POST, &uri, &headers(&[host, own])), Err(Refusal::TOKEN));
    }

    #[test]
    fn the_key_in_the_address_opens_the_page_only() {
        let (guard, token) = guard();
        let lines = headers(&[("host", "127.0.0.1:8520")]);
        let ask = |path: &str| guard.check(&Method::GET, &path.parse().unwrap(), &lines);
        assert_eq!(ask(&format!("/?token={token}")), Ok(Shown::Address));
        assert_eq!(ask(&format!("/api/files?token={token}")), Err(Refusal::TOKEN));
        assert_eq!(ask(&format!("/?token={}", &token[1..])), Err(Refusal::TOKEN));
        assert_eq!(ask(&format!("http://evil.example/?token={token}")), Err(Refusal::HOST));
    }

    #[test]
    fn every_run_has_a_key_of_256_bits_of_its_own() {
        let ((_, one), (_, other)) = (guard(), guard());
        assert_eq!((one.len(), other.len()), (64, 64));
        assert!(one.chars().all(|c| c.is_ascii_hexdigit()));
        assert_ne!(one, other);
    }

    #[test]
    fn a_wrong_key_opens_nothing_however_it_is_shown() {
        let (guard, token) = guard();
        let (_, other) = self::guard();
        let host = ("host", "127.0.0.1:8520");
        let check = |lines: &[(&str, &str)]| {
            let lines: Vec<_> = [host].iter().chain(lines).copied().collect();
            guard.check(&Method::GET, &"/api/files".parse().unwrap(), &headers(&lines))
        };
        assert_eq!(check(&[]), Err(Refusal::TOKEN));
        for wrong in [&other, &token[1..], &token.to_uppercase(), "", &format!("{token} ")] {
            assert_eq!(check(&[("authorization", &format!("Bearer {wrong}"))]), Err(Refusal::TOKEN), "{wrong}");
            assert_eq!(check(&[("cookie", &format!("barwright-8520={wrong}x"))]), Err(Refusal::TOKEN), "{wrong}");
        }
        let bearer = format!("Bearer {token}");
        let cookie = format!("barwright-8520={token}");
        assert_eq!(check(&[("authorization", &bearer)]), Ok(Shown::Header));
        assert_eq!(check(&[("cookie", &cookie)]), Ok(Shown::Cookie));
        // Only this port's cookie, by its whole name, wherever it stands among others.
        assert_eq!(check(&[("cookie", &format!("a=b; {cookie}; c=d"))]), Ok(Shown::Cookie));
        assert_eq!(check(&[("cookie", &format!("barwright-8521={token}"))]), Err(Refusal::TOKEN));
        assert_eq!(check(&[("cookie", &format!("x{cookie}"))]), Err(Refusal::TOKEN));
        // Another scheme, a wrong header beside a right cookie, a header that stands twice.
        assert_eq!(check(&[("authorization", &format!("Basic {token}"))]), Err(Refusal::TOKEN));
        assert_eq!(check(&[("authorization", &format!("Bearer {other}")), ("cookie", &cookie)]), Err(Refusal::TOKEN));
        assert_eq!(check(&[("authorization", &bearer), ("authorization", &bearer)]), Err(Refusal::TOKEN));
    }

    #[test]
    fn the_cookie_is_the_key_for_this_server_and_no_script() {
        let (guard, token) = guard();
        let kept = guard.cookie(&format!("/?x=1&token={token}").parse().unwrap());
        assert_eq!(kept, Some(format!("barwright-8520={token}; HttpOnly; SameSite=Strict; Path=/")));
        assert_eq!(guard.cookie(&"/?x=1".parse().unwrap()), None);
        assert_eq!(guard.cookie(&"/".parse().unwrap()), None);
    }

    #[test]
    fn what_stands_twice_or_not_at_all_is_no_host() {
        let (guard, token) = guard();
        let bearer = format!("Bearer {token}");
        let key = ("authorization", bearer.as_str());
        let check = |method: &Method, uri: &str, lines: &[(&str, &str)]| {
            guard.check(method, &uri.parse().unwrap(), &headers(lines))
        };
        let host = ("host", "127.0.0.1:8520");
        assert_eq!(check(&Method::GET, "/", &[key]), Err(Refusal::HOST));
        assert_eq!(check(&Method::GET, "/", &[key, host, host]), Err(Refusal::HOST));
        assert_eq!(check(&Method::GET, "/", &[key, ("host", "evil.example:8520")]), Err(Refusal::HOST));
        assert_eq!(check(&Method::GET, "http://127.0.0.1:8520/", &[key, host]), Ok(Shown::Header));
        // Typed into the address bar, a browser says `none`: it may read, whether by GET or HEAD.
        let typed = ("sec-fetch-site", "none");
        for (method, expected) in
            [(Method::GET, Ok(Shown::Header)), (Method::HEAD, Ok(Shown::Header)), (Method::POST, Err(Refusal::ORIGIN))]
        {
            assert_eq!(check(&method, "/", &[key, host, typed]), expected, "{method}");
        }
        assert_eq!(check(&Method::GET, "/", &[key, host, typed, typed]), Err(Refusal::ORIGIN));
    }

    #[test]
    fn a_server_answers_to_the_address_it_listens_on() {
        let on = |address: &str| Guard::new(address.parse().unwrap()).unwrap().0;
        let here = on("192.168.1.5:8520");
        assert!(here.is_ours("192.168.1.5:8520"));
        assert!(!here.is_ours("localhost:8520") && !here.is_ours("127.0.0.1:8520"));
        let everywhere = on("0.0.0.0:8520");
        for host in ["192.168.1.5:8520", "localhost:8520", "127.0.0.1:8520", "[::1]:8520"] {
            assert!(everywhere.is_ours(host), "{host}");
        }
        assert!(!everywhere.is_ours("evil.example:8520") && !everywhere.is_ours("[::1:8520"));
        let six = on("[::1]:8520");
        assert!(six.is_ours("[::1]:8520") && six.is_ours("localhost:8520"));
        assert!(!six.is_ours("[::2]:8520") && !six.is_ours("127.0.0.1:8520"));
    }

    #[test]
    fn a_refusal_says_what_it_is() {
        let told =
            [Refusal::HOST, Refusal::ORIGIN, Refusal::TOKEN].map(|refusal| (refusal.status.as_u16(), refusal.code));
        assert_eq!(told, [(421, "host"), (403, "origin"), (403, "token")]);
        assert!(Refusal::HOST.message.contains("host"));
        assert!(Refusal::ORIGIN.message.contains("another page"));
        assert!(Refusal::TOKEN.message.contains("`barwright page` printed"));
    }

    #[test]
    fn a_printed_page_may_have_its_own_style_and_nothing_else() {
        // SHA-256 of nothing, base64: FIPS 180-4's example in another writing, recalled.
        let policy = policy_with_style("");
        assert!(policy.contains("style-src 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"), "{policy}");
        assert!(policy.starts_with("default-src 'none';"), "{policy}");
        for kept in ["base-uri 'none'", "frame-ancestors 'none'", "form-action 'none'"] {
            assert!(policy.contains(kept), "{policy}");
        }
        assert!(POLICY.starts_with("default-src 'self';") && POLICY.contains("frame-ancestors 'none'"), "{POLICY}");
    }
}
