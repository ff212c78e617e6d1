//! Asking a server as somebody: the token goes along, and is renewed once when it has run out.

use crate::connect::Wire;
use crate::contract::Ask;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment;
use crate::tokens::{Keep, Kept};
use crate::world::Clock;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use holt_proto::call::Paged;
use holt_proto::v1;
use std::collections::BTreeMap;
use std::time::Duration;
use uuid::Uuid;

/// A token that runs out so soon may run out on the way.
const SHORT: TimeDelta = TimeDelta::seconds(5);

/// Most entries that a server puts on a page.
const PAGE: i32 = 1000;

/// By what somebody shows who they are.
pub(crate) enum SignIn {
    /// A token that was handed over; it cannot be renewed.
    Given(String),
    /// The tokens kept on this machine.
    Kept(Keep),
}

/// A server, asked as somebody.
pub(crate) struct Session {
    wire: Wire,
    sign_in: SignIn,
    patience: Duration,
    clock: Clock,
}

impl Session {
    pub(crate) fn new(wire: Wire, sign_in: SignIn, patience: Duration, clock: Clock) -> Self {
        Self { wire, sign_in, patience, clock }
    }

    /// The time on this machine.
    pub(crate) fn now(&self) -> DateTime<Utc> {
        (self.clock)()
    }

    /// Whether there is somebody to ask as; the server may still say otherwise.
    pub(crate) fn is_somebody(&self) -> bool {
        match &self.sign_in {
            SignIn::Given(_) => true,
            SignIn::Kept(keep) => keep.load().is_ok_and(|kept| kept.is_some()),
        }
    }

    /// Asks as whoever is signed in.
    pub(crate) async fn ask<C: Ask>(&self, message: C) -> Result<C::Answer, Failure> {
        let keep = match &self.sign_in {
            SignIn::Given(token) => return self.wire.ask(message, Some(token)).await,
            SignIn::Kept(keep) => keep,
        };
        let kept = keep.load()?.ok_or_else(|| Failure::not_signed_in("you are not signed in"))?;
        if kept.access_expires_at <= self.now() + SHORT {
            let token = self.renew(keep, &kept.access).await?;
            return self.wire.ask(message, Some(&token)).await;
        }
        match self.wire.ask(message.clone(), Some(&kept.access)).await {
            // The server's clock, or its key, is not what ours makes of it.
            Err(failure) if failure.reason() == "NOT_SIGNED_IN" => {
                let token = self.renew(keep, &kept.access).await?;
                self.wire.ask(message, Some(&token)).await
            }
            answer => answer,
        }
    }

    /// Records that are missing from the answers.
    pub(crate) fn unreadable(&self) -> v1::UnreadableRecords {
        self.wire.unreadable()
    }

    /// Asks as nobody.
    pub(crate) async fn ask_openly<C: Ask>(&self, message: C) -> Result<C::Answer, Failure> {
        self.wire.ask(message, None).await
    }

    /// Exchanges the refresh token, unless another command did so meanwhile.
    async fn renew(&self, keep: &Keep, stale: &str) -> Result<String, Failure> {
        let held = keep.lock(self.patience).await?;
        let ended = || Failure::not_signed_in("your sign-in has expired");
        let kept = keep.load()?.ok_or_else(ended)?;
        if kept.access != stale {
            return Ok(kept.access);
        }
        let ask = v1::RenewTokensRequest { refresh_token: kept.refresh };
        match self.ask_openly(ask).await {
            Ok(answer) => {
                let fresh = Kept::try_from(answer.tokens.unwrap_or_default())?;
                let token = fresh.access.clone();
                keep.save(&held, Some(fresh))?;
                Ok(token)
            }
            Err(failure) if failure.exit == Exit::NotAllowed => {
                keep.save(&held, None)?;
                Err(ended())
            }
            Err(failure) => Err(failure),
        }
    }

    /// Keeps the tokens of a sign-in on this machine.
    pub(crate) async fn keep(&self, tokens: Option<v1::Tokens>) -> Result<(), Failure> {
        let SignIn::Kept(keep) = &self.sign_in else {
            return Err(Failure::usage(
                "Holt uses a token, so there is no sign-in to keep",
                "unset HOLT_TOKEN and leave --token-file out",
            ));
        };
        let held = keep.lock(self.patience).await?;
        keep.save(&held, tokens.map(Kept::try_from).transpose()?)
    }

    /// The refresh token kept on this machine, if there is one.
    pub(crate) fn refresh_token(&self) -> Result<Option<String>, Failure> {
        match &self.sign_in {
            SignIn::Given(_) => Ok(None),
            SignIn::Kept(keep) => Ok(keep.load()?.map(|kept| kept.refresh)),
        }
    }

    /// All entries of a list, or the first `limit`.
    pub(crate) async fn all<C: Paged>(&self, ask: C, limit: usize) -> Result<Vec<C::Entry>, Failure> {
        self.pages(ask, limit, |_| ()).await
    }

    /// The same, with a look at what else each page says.
    pub(crate) async fn pages<C: Paged>(
        &self,
        mut ask: C,
        limit: usize,
        mut look: impl FnMut(&C::Answer),
    ) -> Result<Vec<C::Entry>, Failure> {
        let mut entries = Vec::new();
        let mut token = String::new();
        loop {
            let wanted = i32::try_from(limit - entries.len()).unwrap_or(PAGE).min(PAGE);
            ask.set_page(v1::PageRequest { size: wanted, token });
            let answer = self.ask(ask.clone()).await?;
            look(&answer);
            let (page, next) = C::open(answer);
            entries.extend(page);
            entries.truncate(limit);
            if next.is_empty() || entries.len() == limit {
                return Ok(entries);
            }
            token = next;
        }
    }

    /// The sites there are, with their time zones.
    pub(crate) async fn zones(&self) -> Result<Zones, Failure> {
        let sites = self.ask(v1::ListSitesRequest {}).await?.sites;
        Ok(Zones(
            sites.into_iter().filter_map(|site| Some((site.code, site.time_zone.parse().ok()?))).collect(),
        ))
    }

    /// The time zone of one site.
    pub(crate) async fn zone(&self, site: &str) -> Result<Tz, Failure> {
        let answer = self.ask(v1::GetSiteRequest { code: site.to_owned() }).await?;
        let zone = answer.site.unwrap_or_default().time_zone;
        zone.parse().map_err(|_| {
            Failure::machine(
                format!("the time zone `{zone}` of {site} is not known here"),
                "use a `holt` of the same version as the server",
            )
        })
    }

    /// The day that it is in a zone.
    pub(crate) fn today(&self, zone: Tz) -> NaiveDate {
        moment::today(zone, self.now())
    }
}

/// Sites and their time zones.
#[derive(Default)]
pub(crate) struct Zones(BTreeMap<String, Tz>);

impl Zones {
    /// The zone of a site's days; UTC for one that is not known.
    pub(crate) fn of(&self, site: &str) -> Tz {
        self.0.get(site).copied().unwrap_or(Tz::UTC)
    }
}

/// A fresh identifier for a request.
#[expect(clippy::disallowed_methods, reason = "a request of a person's is made once and looked up by nobody")]
pub(crate) fn request_id() -> String {
    Uuid::new_v4().to_string()
}
