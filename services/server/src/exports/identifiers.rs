//! What things are called outside the house (CBV 2.0, chapter 8): GS1's numbers as web addresses (Digital Link) where there are
//! any, else addresses of our own under the house's public one.

use std::fmt::Write as _;

use tubtrail_domain::gs1::digital_link::{CANONICAL_STEM, DigitalLink};
use tubtrail_operations::exports::{Goods, Paper, PaperKind, Party, PartyKind, TrackingEvent};

/// Any year: no days stand in what is checked here.
const YEAR: i32 = 2000;

/// The house's public address, under which its own identifiers are.
pub(super) struct Identifiers {
    base: String,
}

impl Identifiers {
    /// Under the public address. Where none is set, under one that leads nowhere and is no other house's: `.invalid` is
    /// nobody's (RFC 2606).
    pub fn under(public_url: Option<&str>, house_mark: &str) -> Self {
        let base = public_url.map_or_else(|| format!("https://{house_mark}.tubtrail.invalid"), str::to_owned);
        Self { base }
    }

    /// Under what our own words are.
    pub fn terms(&self) -> String {
        format!("{}/terms/", self.base)
    }

    /// A lot of an article, by the code of whoever gave it; where that has no place in a link, by our number for the lot.
    pub fn class(&self, goods: &Goods) -> String {
        let code = goods.supplier_lot_code.as_ref().or(goods.lot.as_ref());
        let link = goods
            .gtin
            .as_ref()
            .zip(code)
            .map(|(gtin, code)| format!("{CANONICAL_STEM}/01/{gtin}/10/{}", encoded(code)));
        match (link.filter(|link| DigitalLink::parse(link, 1, YEAR).is_ok()), &goods.lot) {
            (Some(link), _) => link,
            (None, Some(lot)) => format!("{}/lots/{lot}", self.base),
            (None, None) => format!("{}/items/{}", self.base, goods.item),
        }
    }

    /// Where something is.
    pub fn place(&self, party: &Party) -> String {
        match &party.gln {
            Some(gln) => format!("{CANONICAL_STEM}/414/{gln}"),
            None => self.own(party),
        }
    }

    /// Who has something.
    pub fn party(&self, party: &Party) -> String {
        match &party.gln {
            Some(gln) => format!("{CANONICAL_STEM}/417/{gln}"),
            None => self.own(party),
        }
    }

    fn own(&self, party: &Party) -> String {
        let noun = match party.kind {
            PartyKind::Site => "sites",
            PartyKind::Partner => "partners",
        };
        format!("{}/{noun}/{}", self.base, party.code)
    }

    /// A paper, under whoever issued it.
    pub fn paper(&self, event: &TrackingEvent, paper: &Paper) -> String {
        match paper.kind {
            PaperKind::Batch => format!("{}/batches/{}", self.base, paper.number),
            PaperKind::Transfer => format!("{}/transfers/{}", self.base, paper.number),
            PaperKind::Delivery => self.issued(event.other.as_deref().unwrap_or(&event.site), &paper.number),
            PaperKind::Consignment => self.issued(&event.site, &paper.number),
        }
    }

    fn issued(&self, by: &Party, number: &str) -> String {
        match &by.gln {
            // CBV 2.0, 8.5.3: a business transaction by the location number of its issuer (the section from memory).
            Some(gln) => format!("urn:epcglobal:cbv:bt:{gln}:{}", encoded(number)),
            None => format!("{}/documents/{}", self.own(by), encoded(number)),
        }
    }
}

/// Letters, digits and `-._~` as they are, all else in percent codes (RFC 3986).
fn encoded(text: &str) -> String {
    text.bytes().fold(String::with_capacity(text.len()), |mut encoded, byte| {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            let _ = write!(encoded, "%{byte:02X}");
        }
        encoded
    })
}

#[cfg(test)]
mod tests {
    use tubtrail_operations::Grams;

    use super::*;

    fn goods(gtin: Option<&str>, supplier_lot_code: Option<&str>) -> Goods {
        Goods {
            lot: Some("261125-0042-7".into()),
            item: "pistachio".into(),
            name: "Pistachio".into(),
            gtin: gtin.map(str::to_owned),
            supplier_lot_code: supplier_lot_code.map(str::to_owned),
            source: None,
            since: None,
            expiry: None,
            grams: Grams::from_mg(1),
        }
    }

    /// The GTIN is GS1's for demonstrations. A batch or lot (10) has 20 characters of set 82 at most.
    #[test]
    fn a_lot_is_a_link_where_its_code_fits_into_one() {
        let called = Identifiers::under(Some("https://gelato.example"), "0123456789abcdef");
        let link = |code: Option<&str>| called.class(&goods(Some("09520123456788"), code));
        assert_eq!(link(None), "https://id.gs1.org/01/09520123456788/10/261125-0042-7");
        assert_eq!(link(Some("24/118")), "https://id.gs1.org/01/09520123456788/10/24%2F118");
        assert_eq!(link(Some("12345678901234567890")), "https://id.gs1.org/01/09520123456788/10/12345678901234567890");
        let ours = "https://gelato.example/lots/261125-0042-7";
        assert_eq!(link(Some("123456789012345678901")), ours, "a character too many");
        assert_eq!(link(Some("24 118")), ours, "a blank");
        assert_eq!(called.class(&goods(None, Some("24-118"))), ours);
        let loose = Goods { lot: None, ..goods(Some("09520123456788"), None) };
        assert_eq!(called.class(&loose), "https://gelato.example/items/pistachio");
        assert_eq!(called.terms(), "https://gelato.example/terms/");
    }

    #[test]
    fn without_a_public_address_nothing_is_promised() {
        let called = Identifiers::under(None, "0123456789abcdef");
        assert_eq!(called.class(&goods(None, None)), "https://0123456789abcdef.tubtrail.invalid/lots/261125-0042-7");
    }
}
