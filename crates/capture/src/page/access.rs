//! Who may see the page.
//!
//! On this machine alone anybody; then the name by which the page is asked for is checked, since any page in
//! a browser could be led here under a name of its own. Elsewhere whoever knows the token: it is given once, and
//! a session stands for it from then on. Neither is ever part of an address.

use std::fmt;
use std::net::SocketAddr;

use axum::http::header::{AUTHORIZATION, COOKIE, HOST, ORIGIN};
use axum::http::{HeaderMap, Uri};

/// Name of the cookie that holds the session.
const COOKIE_NAME: &str = "halfshaft-live";

/// A token may not be shorter, bytes.
pub const LEAST_TOKEN_BYTES: usize = 16;

/// What somebody elsewhere has to know.
#[derive(Clone, PartialEq, Eq)]
pub struct Token(String);

impl fmt::Debug for Token {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("Token(…)")
    }
}

impl Token {
    /// The token in the text of its file; `None` where it is too short to be one.
    pub fn of(text: &str) -> Option<Token> {
        let token = text.trim();
        (token.len() >= LEAST_TOKEN_BYTES).then(|| Token(token.to_owned()))
    }
}

/// Decides who may see the page.
#[derive(Clone, Debug)]
pub struct Access {
    token: Option<Token>,
    session: String,
    is_loopback: bool,
}

impl Access {
    /// For a page that listens there.
    pub fn new(listen: SocketAddr, token: Option<Token>) -> std::io::Result<Access> {
        let mut random = [0; 32];
        getrandom::fill(&mut random).map_err(|why| std::io::Error::other(why.to_string()))?;
        Ok(Access {
            token,
            session: random.iter().map(|byte| format!("{byte:02x}")).collect(),
            is_loopback: listen.ip().is_loopback(),
        })
    }

    /// Whether this request may be answered at all: it names this machine where that is all there is.
    pub fn names_this_machine(&self, headers: &HeaderMap) -> bool {
        if !self.is_loopback {
            return true;
        }
        let Some(host) = text(headers, HOST) else {
            return false;
        };
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|byte| byte.is_ascii_digit()) => name,
            _ => host,
        };
        ["127.0.0.1", "localhost", "[::1]"].contains(&name)
    }

    /// Whether something that changes anything comes from the page itself, and not from another one.
    pub fn is_own(&self, headers: &HeaderMap) -> bool {
        let Some(origin) = text(headers, ORIGIN) else {
            // No browser: those name where a form or a script comes from.
            return true;
        };
        let authority = origin.parse::<Uri>().ok().and_then(|uri| {
            let authority = uri.authority()?;
            Some(authority.as_str().to_owned())
        });
        authority.is_some() && authority.as_deref() == text(headers, HOST)
    }

    /// Whether whoever asks may see anything.
    pub fn allows(&self, headers: &HeaderMap) -> bool {
        let Some(token) = &self.token else {
            return true;
        };
        let bearer = text(headers, AUTHORIZATION).and_then(|text| text.strip_prefix("Bearer "));
        let sessions = headers
            .get_all(COOKIE)
            .into_iter()
            .filter_map(|value| value.to_str().ok());
        let mut sessions = sessions
            .flat_map(|text| text.split(';'))
            .filter_map(|pair| {
                let (name, value) = pair.trim().split_once('=')?;
                (name == COOKIE_NAME).then_some(value)
            });
        bearer.is_some_and(|given| is_same(given, &token.0))
            || sessions.any(|given| is_same(given, &self.session))
    }

    /// The cookie for whoever gives the token.
    pub fn cookie(&self, given: &str) -> Option<String> {
        let token = self.token.as_ref()?;
        is_same(given.trim(), &token.0).then(|| {
            let session = &self.session;
            format!("{COOKIE_NAME}={session}; HttpOnly; SameSite=Strict; Path=/")
        })
    }
}

fn text(headers: &HeaderMap, name: axum::http::HeaderName) -> Option<&str> {
    headers.get(name)?.to_str().ok()
}

/// Whether two secrets are the same, in a time that does not depend on where they differ.
fn is_same(given: &str, secret: &str) -> bool {
    let (given, secret) = (given.as_bytes(), secret.as_bytes());
    let mut differs = given.len() ^ secret.len();
    for (index, byte) in secret.iter().enumerate() {
        let other = given.get(index).copied().unwrap_or(!byte);
        differs |= usize::from(std::hint::black_box(byte ^ other));
    }
    std::hint::black_box(differs) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECRET: &str = "a token of sixteen letters or more";

    fn access(listen: &str) -> Access {
        Access::new(listen.parse().unwrap(), Token::of(SECRET)).unwrap()
    }

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        let pairs = pairs.iter().map(|(name, value)| {
            (
                axum::http::HeaderName::from_static(name),
                value.parse().unwrap(),
            )
        });
        pairs.collect()
    }

    #[test]
    fn only_the_token_or_its_session_opens() {
        let access = access("192.168.1.4:8470");
        let bearer = |given: &str| headers(&[("authorization", &format!("Bearer {given}"))]);
        assert!(access.allows(&bearer(SECRET)));
        for wrong in [
            "",
            "a token",
            &SECRET[1..],
            &format!("{SECRET}!"),
            "A token of sixteen letters or more",
        ] {
            assert!(!access.allows(&bearer(wrong)), "{wrong}");
            assert_eq!(access.cookie(wrong), None, "{wrong}");
        }
        let cookie = access.cookie(SECRET).unwrap();
        assert!(cookie.contains("HttpOnly; SameSite=Strict"), "{cookie}");
        let pair = cookie.split(';').next().unwrap();
        assert!(access.allows(&headers(&[("cookie", &format!("other=1; {pair}"))])));
        assert!(!access.allows(&headers(&[("cookie", "halfshaft-live=")])));
        // The token is no session: a cookie may be seen where the token never is.
        assert!(!access.allows(&headers(&[("cookie", &format!("halfshaft-live={SECRET}"))])));
        assert_eq!(Token::of("fifteen letters"), None);
        assert_eq!(format!("{:?}", Token::of(SECRET)), "Some(Token(…))");
    }

    #[test]
    fn another_name_for_this_machine_is_refused() {
        let of =
            |host: &str| access("127.0.0.1:8470").names_this_machine(&headers(&[("host", host)]));
        for right in [
            "127.0.0.1:8470",
            "localhost",
            "localhost:8470",
            "[::1]:8470",
        ] {
            assert!(of(right), "{right}");
        }
        for wrong in [
            "attacker.example:8470",
            "127.0.0.1.attacker.example",
            "localhost.:8470",
            "",
        ] {
            assert!(!of(wrong), "{wrong}");
        }
        assert!(access("10.0.0.2:8470").names_this_machine(&headers(&[("host", "box.local")])));
    }

    #[test]
    fn another_page_may_not_send_anything() {
        let access = access("127.0.0.1:8470");
        let of = |pairs: &[(&'static str, &str)]| access.is_own(&headers(pairs));
        let host = ("host", "127.0.0.1:8470");
        assert!(of(&[host, ("origin", "http://127.0.0.1:8470")]));
        assert!(of(&[host]));
        for wrong in [
            "http://attacker.example",
            "http://127.0.0.1:80",
            "null",
            "http://127.0.0.1:8470.x",
        ] {
            assert!(!of(&[host, ("origin", wrong)]), "{wrong}");
        }
    }
}
