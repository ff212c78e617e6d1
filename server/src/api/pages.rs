//! Page tokens: the key of the last entry, authenticated and bound to the request that it came from.

use crate::model::page::Page;
use crate::model::reason::Reason;
use crate::records::error::Refusal;
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use hmac::{Hmac, Mac};
use holt_proto::v1::{PageInfo, PageRequest};
use prost::Message;
use sha2::Sha256;

const USUAL: u32 = 100;
const MOST: u32 = 1000;
const MAC_BYTES: usize = 16;

/// Makes and reads page tokens.
pub(crate) struct Pages {
    secret: [u8; 32],
}

impl Pages {
    pub(crate) const fn new(secret: [u8; 32]) -> Self {
        Self { secret }
    }

    /// The page that a request asks for. `rest` is the request without its page.
    pub(crate) fn read(
        &self,
        page: Option<PageRequest>,
        method: &str,
        rest: &impl Message,
    ) -> Result<Page, Refusal> {
        let page = page.unwrap_or_default();
        let size = match u32::try_from(page.size).unwrap_or(0) {
            0 => USUAL,
            size => size.min(MOST),
        };
        let after = if page.token.is_empty() {
            None
        } else {
            Some(self.open(&page.token, method, rest).ok_or_else(refused)?)
        };
        Ok(Page { size, after })
    }

    /// Where the list goes on.
    pub(crate) fn write(&self, next: Option<String>, method: &str, rest: &impl Message) -> PageInfo {
        let next_token = next.map_or_else(String::new, |key| {
            let mut token = self.mac(&key, method, rest).to_vec();
            token.extend_from_slice(key.as_bytes());
            URL_SAFE_NO_PAD.encode(token)
        });
        PageInfo { next_token }
    }

    fn open(&self, token: &str, method: &str, rest: &impl Message) -> Option<String> {
        let token = URL_SAFE_NO_PAD.decode(token).ok()?;
        let (mac, key) = token.split_at_checked(MAC_BYTES)?;
        let key = String::from_utf8(key.to_vec()).ok()?;
        // What the token opens is not secret, so an early end of the comparison tells nothing.
        (mac == self.mac(&key, method, rest)).then_some(key)
    }

    fn mac(&self, key: &str, method: &str, rest: &impl Message) -> [u8; MAC_BYTES] {
        let mut mac = <Hmac<Sha256> as Mac>::new_from_slice(&self.secret)
            .unwrap_or_else(|_| unreachable!("an HMAC takes a key of any length"));
        for part in [method.as_bytes(), &rest.encode_to_vec(), key.as_bytes()] {
            mac.update(&(part.len() as u64).to_be_bytes());
            mac.update(part);
        }
        let mut short = [0; MAC_BYTES];
        short.copy_from_slice(&mac.finalize().into_bytes()[..MAC_BYTES]);
        short
    }
}

fn refused() -> Refusal {
    Refusal::new(
        Reason::PageTokenRefused,
        "the page token is not from this request",
        "take the token of the page before, and change nothing else of the request",
    )
    .at("page.token")
}

#[cfg(test)]
mod tests {
    use super::*;
    use holt_proto::v1::ListAnimalsRequest;

    fn asked(site: &str) -> ListAnimalsRequest {
        ListAnimalsRequest { site: site.to_owned(), ..Default::default() }
    }

    fn with(token: String) -> Option<PageRequest> {
        Some(PageRequest { size: 10, token })
    }

    #[test]
    fn a_token_opens_the_request_it_came_from_and_no_other() {
        let pages = Pages::new([7; 32]);
        let token = pages.write(Some("QUI-26-0042".to_owned()), "m", &asked("QUI")).next_token;
        let read = |site: &str, method: &str, token: &str| {
            pages.read(with(token.to_owned()), method, &asked(site)).map(|page| page.after)
        };
        assert_eq!(read("QUI", "m", &token).unwrap().as_deref(), Some("QUI-26-0042"));
        read("BRA", "m", &token).unwrap_err();
        read("QUI", "n", &token).unwrap_err();
        read("QUI", "m", "AAAA").unwrap_err();
        read("QUI", "m", &format!("{token}A")).unwrap_err();
        Pages::new([8; 32]).read(with(token), "m", &asked("QUI")).unwrap_err();
    }

    #[test]
    fn sizes_are_cut() {
        let pages = Pages::new([7; 32]);
        let size = |size| {
            pages.read(Some(PageRequest { size, token: String::new() }), "m", &asked("Q")).unwrap().size
        };
        assert_eq!((size(0), size(-5), size(7), size(5000)), (100, 100, 7, 1000));
    }
}
