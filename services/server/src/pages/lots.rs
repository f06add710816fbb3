//! A lot in hand: what it is, where it lies, what it was made of and went into; and what can be done about it.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_operations::discards::{Discard, Standpoint};
use tubtrail_operations::holds::Because;
use tubtrail_operations::known::{Holding, Origin};
use tubtrail_operations::labels::{Dpi, LabelSize};
use tubtrail_operations::lots::Lot;
use tubtrail_operations::master_data::MOST;
use tubtrail_operations::quantities::Amount;
use tubtrail_operations::reach;
use tubtrail_operations::sessions::Me;
use tubtrail_operations::sites::Site;
use tubtrail_operations::trace::{Direction, TracedLot};
use tubtrail_operations::{OperationError, QuantityEntered, Request, Tubtrail, problems};

use super::fields::Fields;
use super::figures::{Wall, number, weight};
use super::forms::{Form, see_said};
use super::names::Names;
use super::page::{Frame, Shown, Unable, render};
use super::rights::may_at;
use super::texts::Texts;
use super::visitor::{Sent, Visitor};
use crate::house::{House, off_thread};
use crate::labels::{LabelFormat, answer, draw};

/// Most lots that are named on either side.
const MOST_BESIDE: usize = 60;
/// What lies somewhere and can be got hold of, or is about to be.
const ON_HAND: [&str; 3] = ["available", "open", "in_transit"];

pub fn configure(config: &mut web::ServiceConfig) {
    config.service(lot_page).service(lot_label).service(lot_deed);
}

#[expect(clippy::struct_excessive_bools, reason = "each is something of its own that the page shows or does not")]
#[derive(Template)]
#[template(path = "lot.html")]
struct Page {
    frame: Frame,
    lot: Lot,
    came: String,
    made_at: String,
    rests_until: Option<String>,
    last_day: Option<String>,
    halt: Vec<String>,
    here: Vec<Place>,
    gone: Vec<String>,
    made_of: Option<Beside>,
    made_into: Option<Beside>,
    may_hold: bool,
    may_release: bool,
    may_label: bool,
    may_trace: bool,
    me: Me,
    hold: Form,
    release: Form,
    discard: Form,
}

/// Where some of it lies.
struct Place {
    site: String,
    site_name: String,
    state: String,
    told: String,
    mass: String,
    /// It can be sent on from here.
    may_send: bool,
    /// It can be thrown away here.
    may_discard: bool,
}

/// The lots one batch away.
struct Beside {
    lots: Vec<TracedLot>,
    /// There are more than are named.
    more: bool,
}

/// What is read of the house.
struct Found {
    lot: Lot,
    wall: Wall,
    sites: Names,
    partners: Names,
    /// None where somebody may not trace.
    beside: Option<[Beside; 2]>,
}

/// The forms of the page.
struct Forms {
    hold: Form,
    release: Form,
    discard: Form,
}

impl Forms {
    fn empty(visitor: &Visitor) -> Self {
        let new = || Form::new(visitor, Fields::default());
        Self { hold: new(), release: new(), discard: new() }
    }
}

/// A lot.
#[get("/lots/{lot}")]
async fn lot_page(house: House, visitor: Visitor, request: HttpRequest, lot: web::Path<String>) -> Shown {
    show(house, &visitor, &request, lot.into_inner(), Forms::empty(&visitor)).await
}

/// Its label, to look at or to print from the browser; refused as the label is.
#[get("/lots/{lot}/label.pdf")]
async fn lot_label(house: House, visitor: Visitor, request: HttpRequest, lot: web::Path<String>) -> Shown {
    let asks = visitor.asks();
    let drawn = off_thread(move || {
        let label = house.tubtrail.show_label(&asks, &lot, None)?;
        draw(&label, LabelSize::default(), Dpi::default(), LabelFormat::Pdf)
    });
    Ok(answer(drawn.await.map_err(Unable::of(&request))?, LabelFormat::Pdf))
}

/// Holds it, lifts its hold, or throws some of it away.
#[post("/lots/{lot}/{deed}")]
async fn lot_deed(house: House, sent: Sent, request: HttpRequest, path: web::Path<(String, String)>) -> Shown {
    let (lot, deed) = path.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (inside, given, about, word) = (house.clone(), fields.clone(), lot.clone(), deed.clone());
    let texts = visitor.texts;
    let done = off_thread(move || {
        let because = Because { reason: given.get("reason").map(str::to_owned) };
        let tubtrail = &inside.tubtrail;
        match word.as_str() {
            "hold" => tubtrail.hold_lot(&commands, &about, because).map(|_| ()),
            "release" => {
                let hold = given.get("hold").and_then(|hold| hold.parse().ok()).unwrap_or(0);
                tubtrail.release_hold(&commands, hold, because).map(|_| ())
            }
            "discard" => tubtrail.discard_lot(&commands, &about, discard(texts, &given)).map(|_| ()),
            _ => Err(OperationError::new(&problems::NOT_FOUND, say!("nobody can {word} a lot", word))),
        }
    });
    let Err(problem) = done.await else { return Ok(see_said(&format!("/lots/{lot}"), "done")) };
    let place = |field: &str| {
        let name = field.split('.').next().unwrap_or(field);
        ["reason", "quantity", "state"].contains(&name).then(|| name.to_owned())
    };
    let form = Form::refused(&visitor, fields, problem, place).map_err(Unable::of(&request))?;
    let mut forms = Forms::empty(&visitor);
    match deed.as_str() {
        "hold" => forms.hold = form,
        "release" => forms.release = form,
        _ => forms.discard = form,
    }
    show(house, &visitor, &request, lot, forms).await
}

fn discard(texts: &Texts, fields: &Fields) -> Discard {
    let text = |name: &str| fields.get(name).map(str::to_owned);
    Discard {
        site: text("site"),
        state: fields.get("state").and_then(Standpoint::from_word),
        quantity: text("quantity")
            .map(|grams| QuantityEntered { amount: Amount(number(texts, &grams)), unit: "g".to_owned() }),
        reason: text("reason"),
        discarded_at: None,
    }
}

fn find(tubtrail: &Tubtrail, asks: &Request, number: &str) -> Result<Found, OperationError> {
    let lot = tubtrail.get_lot(asks, number)?;
    // A site out of reach has another wall, maybe; the lot is still theirs to see.
    let wall = match tubtrail.get::<Site>(asks, &lot.site) {
        Err(error) if error.problem == &problems::NOT_FOUND => Wall::of_the_world(),
        site => Wall::of(&site?),
    };
    let beside = |direction| -> Result<Beside, OperationError> {
        let trace = tubtrail.trace_lot(asks, &lot.lot, direction, "", MOST)?;
        let mut lots: Vec<_> = trace.lots.into_iter().filter(|lot| lot.generation == 1).collect();
        let more = lots.len() > MOST_BESIDE;
        lots.truncate(MOST_BESIDE);
        Ok(Beside { lots, more })
    };
    let beside = match beside(Direction::Backward).and_then(|of| Ok([of, beside(Direction::Forward)?])) {
        Err(error) if error.problem == &problems::FORBIDDEN => None,
        beside => Some(beside?),
    };
    let (sites, partners) = (Names::of_sites(tubtrail, asks)?, Names::of_partners(tubtrail, asks)?);
    Ok(Found { lot, wall, sites, partners, beside })
}

async fn show(house: House, visitor: &Visitor, request: &HttpRequest, number: String, forms: Forms) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || Ok((house.tubtrail.show_me(&asks)?, find(&house.tubtrail, &asks, &number)?)));
    let (me, Found { lot, wall, sites: names, partners, beside }) = found.await.map_err(Unable::of(request))?;
    let texts = visitor.texts;
    let status = [&forms.hold, &forms.release, &forms.discard].into_iter().map(Form::status).find(|one| *one != 200);
    let lies = lot.places.iter().filter(|holding| ON_HAND.contains(&holding.state.as_str()));
    let here = lies.map(|holding| Place {
        told: texts.say(&format!("lies-{}", holding.state)).into_owned(),
        mass: weight(texts, holding.grams),
        may_send: holding.state == "available" && may_at(&me, &reach::DISPATCH_TRANSFER, &holding.site),
        may_discard: holding.state != "in_transit" && may_at(&me, &reach::DISCARD_LOT, &holding.site),
        site_name: names.of(&holding.site).to_owned(),
        site: holding.site.clone(),
        state: holding.state.clone(),
    });
    let here: Vec<Place> = here.collect();
    let (made_of, made_into) = beside.map_or((None, None), |[of, into]| (Some(of), Some(into)));
    let sites: Vec<&str> = lot.places.iter().map(|holding| holding.site.as_str()).chain([lot.site.as_str()]).collect();
    let may = |operation| sites.iter().any(|site| may_at(&me, operation, site));
    let page = Page {
        may_hold: may(&reach::HOLD_LOT),
        may_release: may(&reach::RELEASE_HOLD),
        may_trace: may(&reach::TRACE_LOT),
        may_label: lot.kind.word() != "received" && may(&reach::SHOW_LABEL),
        came: came(texts, &lot.came_from, &partners),
        made_at: wall.day_and_time(lot.came_to_be_at),
        rests_until: lot.mature_at.map(|at| wall.day_and_time(at)),
        last_day: lot.expiry.map(|expiry| {
            texts.say_of(&format!("last-day-{}", expiry.kind.word()), "day", expiry.on.to_string()).into_owned()
        }),
        halt: halt(texts, &lot),
        gone: gone(texts, &lot, &names),
        here,
        made_of,
        made_into,
        frame: Frame::of(visitor, request, me.clone()),
        me,
        hold: forms.hold,
        release: forms.release,
        discard: forms.discard,
        lot,
    };
    Ok(render(status.unwrap_or_default(), &page))
}

fn came(texts: &Texts, origin: &Origin, partners: &Names) -> String {
    match origin {
        Origin::Delivery { supplier, supplier_lot_code, .. } => texts
            .say_with("lot-from-supplier", &[("supplier", partners.of(supplier)), ("code", supplier_lot_code)])
            .into_owned(),
        Origin::Batch { batch, name, .. } => {
            texts.say_with("lot-from-batch", &[("name", name), ("batch", &batch.to_string())]).into_owned()
        }
    }
}

/// Why it must stay where it is.
fn halt(texts: &Texts, lot: &Lot) -> Vec<String> {
    let mut halt = Vec::new();
    halt.extend(
        lot.on_hold.as_ref().map(|hold| texts.say_of("held", "reason", texts.reason(&hold.reason)).into_owned()),
    );
    if !lot.recalls.is_empty() {
        let recalls = lot.recalls.iter().map(i64::to_string).collect::<Vec<_>>().join(", ");
        halt.push(texts.say_of("recalled", "recalls", recalls).into_owned());
    }
    halt.extend(lot.rejected.as_ref().map(|reason| texts.say_of("rejected", "reason", reason).into_owned()));
    halt
}

/// What became of what is gone.
fn gone(texts: &Texts, lot: &Lot, sites: &Names) -> Vec<String> {
    let told = |holding: &Holding| {
        let what = texts.say(&format!("lies-{}", holding.state));
        let told = format!("{} ({})", weight(texts, holding.grams), sites.of(&holding.site));
        named(texts, &what, &told)
    };
    let mut gone: Vec<String> =
        lot.places.iter().filter(|holding| !ON_HAND.contains(&holding.state.as_str())).map(told).collect();
    for (name, grams) in [("lies-used", lot.used_grams), ("lies-returned", lot.returned_grams)] {
        if grams.mg() != 0 {
            gone.push(named(texts, &texts.say(name), &weight(texts, grams)));
        }
    }
    gone
}

fn named(texts: &Texts, what: &str, told: &str) -> String {
    texts.say_with("named", &[("what", what), ("told", told)]).into_owned()
}

impl Page {
    fn came_to_be(&self) -> String {
        weight(self.frame.texts, self.lot.grams)
    }

    fn kind(&self) -> String {
        format!("kind-{}", self.lot.kind.word())
    }

    fn may_discard(&self) -> bool {
        self.here.iter().any(|place| place.may_discard)
    }

    /// Whether there is anything to be seen behind a link to it: it came to be, lies or went where they have a role.
    fn is_theirs(&self, lot: &TracedLot) -> bool {
        let sites = lot.places.iter().map(|holding| &holding.site).chain([&lot.site]);
        sites.into_iter().any(|site| may_at(&self.me, &reach::GET_LOT, site))
    }

    /// The lots on either side, with the names of the texts above them.
    fn sides(&self) -> Vec<(&'static str, &'static str, &Beside)> {
        let of = self.made_of.as_ref().map(|beside| ("lot-made-of", "lot-made-of-none", beside));
        let into = self.made_into.as_ref().map(|beside| ("lot-made-into", "lot-made-into-none", beside));
        of.into_iter().chain(into).collect()
    }
}
