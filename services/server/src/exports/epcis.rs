//! Events as an EPCIS document, streamed.

use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_ENCODING, CONTENT_TYPE};
use actix_web::{HttpResponse, web};
use chrono::FixedOffset;
use futures_util::stream;
use tubtrail_documents::DocumentError;
use tubtrail_documents::epcis::{
    self, AggregationEvent, BizTransaction, Common, Destination, DocumentWriter, ErrorDeclaration, Event, Ilmd,
    Kilograms, ObjectEvent, Place, Quantity, Source, TransformationEvent,
};
use tubtrail_operations::Tubtrail;
use tubtrail_operations::deliveries::ExpiryKind;
use tubtrail_operations::exports::{EventKind, Goods, PaperKind, TrackingEvent, TrackingEvents};

use super::identifiers::Identifiers;
use crate::house::{House, Outcome, Reading, off_thread, read_on};
use crate::problem::Problem;
use crate::seats::Seat;

/// Sends events as they are read. What fails on the way breaks the connection off, so that no part passes for the whole.
pub fn send(house: House, seat: Seat, events: TrackingEvents) -> Outcome {
    let called = Identifiers::under(house.public_url.as_deref(), &events.house_mark);
    let writer = DocumentWriter::default();
    let head = writer.head(events.asked_at, &called.terms()).map_err(|error| failed(&error))?;
    let mut response = HttpResponse::Ok();
    response
        .insert_header((CONTENT_TYPE, epcis::MEDIA_TYPE))
        .insert_header((CONTENT_DISPOSITION, "attachment; filename=\"events.jsonld\""))
        .insert_header((CONTENT_ENCODING, "identity"));
    let next = Next::Head(head, Box::new(events));
    let begun = Streaming { house, _seat: seat, called, writer, next };
    Ok(response.streaming(stream::try_unfold(begun, Streaming::piece)))
}

/// A document on its way. The seat goes with it, to its end or until the client is gone.
struct Streaming {
    house: House,
    _seat: Seat,
    called: Identifiers,
    writer: DocumentWriter,
    next: Next,
}

enum Next {
    Head(Vec<u8>, Box<TrackingEvents>),
    Events(Reading<TrackingEvents, Vec<TrackingEvent>>),
    Nothing,
}

impl Streaming {
    async fn piece(mut self) -> Result<Option<(web::Bytes, Self)>, Problem> {
        let bytes = match std::mem::replace(&mut self.next, Next::Nothing) {
            Next::Nothing => return Ok(None),
            Next::Head(head, events) => {
                self.next = Next::Events(self.reading(*events));
                head
            }
            Next::Events(found) => {
                let (found, events) = found.await?;
                if found.is_empty() {
                    self.writer.foot()
                } else {
                    self.next = Next::Events(self.reading(events));
                    let (bytes, this) = off_thread(move || Ok((self.write(&found), self))).await?;
                    self = this;
                    bytes?
                }
            }
        };
        Ok(Some((web::Bytes::from(bytes), self)))
    }

    fn reading(&self, events: TrackingEvents) -> Reading<TrackingEvents, Vec<TrackingEvent>> {
        read_on(self.house.clone(), events, Tubtrail::more_tracking_events)
    }

    fn write(&mut self, found: &[TrackingEvent]) -> Result<Vec<u8>, Problem> {
        let events: Vec<Event> = found.iter().map(|event| told(&self.called, event)).collect();
        self.writer.events(&events).map_err(|error| failed(&error))
    }
}

fn failed(error: &DocumentError) -> Problem {
    Problem::internal(error)
}

fn told(called: &Identifiers, event: &TrackingEvent) -> Event {
    match event.kind {
        EventKind::Transformed => transformed(called, event),
        EventKind::Packed | EventKind::Unpacked => aggregated(called, event),
        _ => observed(called, event),
    }
}

/// A transfer goes as one, under its own address, as CBV 2.0 lets a house call its own things. What is in it are so many grams of
/// a lot, a tub too: that is a class, and so stands in `childQuantityList` (EPCIS 2.0, `AggregationEvent`; both
/// from memory).
fn aggregated(called: &Identifiers, event: &TrackingEvent) -> Event {
    let (biz_step, disposition) = words(event);
    let here = || Place { id: called.place(&event.site) };
    let transfer = event.paper.as_ref().map(|paper| called.paper(event, paper));
    Event::AggregationEvent(AggregationEvent {
        common: common(event),
        parent_id: transfer.unwrap_or_else(|| event.id.clone()),
        child_quantity_list: quantities(called, &event.goods),
        action: if event.kind == EventKind::Packed { "ADD" } else { "DELETE" },
        biz_step,
        disposition: disposition.unwrap_or("in_progress"),
        read_point: here(),
        biz_location: here(),
        biz_transaction_list: papers(called, event),
    })
}

fn transformed(called: &Identifiers, event: &TrackingEvent) -> Event {
    let id = event.paper.as_ref().map(|paper| called.paper(event, paper));
    Event::TransformationEvent(TransformationEvent {
        common: common(event),
        transformation_id: id.unwrap_or_else(|| event.id.clone()),
        biz_step: "commissioning",
        disposition: "in_progress",
        read_point: Place { id: called.place(&event.site) },
        biz_location: Place { id: called.place(&event.site) },
        input_quantity_list: quantities(called, &event.goods),
        output_quantity_list: quantities(called, &event.made),
        ilmd: ilmd(&event.made),
    })
}

fn observed(called: &Identifiers, event: &TrackingEvent) -> Event {
    let (biz_step, disposition) = words(event);
    let is_there_afterwards = matches!(event.kind, EventKind::Received | EventKind::Arrived | EventKind::Counted);
    let here = || Place { id: called.place(&event.site) };
    let (source_list, destination_list) = ends(called, event);
    Event::ObjectEvent(ObjectEvent {
        common: common(event),
        // What is thrown away is no more; all else goes on.
        action: if event.kind == EventKind::Destroyed { "DELETE" } else { "OBSERVE" },
        biz_step,
        disposition,
        read_point: here(),
        biz_location: is_there_afterwards.then(here),
        quantity_list: quantities(called, &event.goods),
        biz_transaction_list: papers(called, event),
        source_list,
        destination_list,
        expected_quantity: event.expected.filter(|_| is_off(event)).map(|grams| Kilograms(grams.mg())),
    })
}

/// The step of the business and how the objects stand afterwards (CBV 2.0, 7.1 and 7.2).
fn words(event: &TrackingEvent) -> (&'static str, Option<&'static str>) {
    match event.kind {
        EventKind::Received | EventKind::Arrived => ("receiving", Some("in_progress")),
        EventKind::Dispatched | EventKind::Consigned => ("shipping", Some("in_transit")),
        EventKind::Returned => ("shipping", Some("returned")),
        EventKind::Destroyed => ("destroying", Some("destroyed")),
        EventKind::Counted => ("cycle_counting", is_off(event).then_some("mismatch_quantity")),
        EventKind::Transformed => ("commissioning", Some("in_progress")),
        EventKind::Packed => ("packing", Some("in_progress")),
        EventKind::Unpacked => ("unpacking", Some("in_progress")),
        // It was looked for where it should be, and what became of it nobody knows.
        EventKind::Missed => ("inspecting", Some("unknown")),
    }
}

/// Whether something else was counted than the book had.
fn is_off(event: &TrackingEvent) -> bool {
    event.expected.is_some_and(|expected| event.goods.iter().any(|goods| goods.grams != expected))
}

/// Where it comes from and where it goes. Between sites of ours the goods change their place, not their holder.
fn ends(called: &Identifiers, event: &TrackingEvent) -> (Vec<Source>, Vec<Destination>) {
    let from = |kind, source| vec![Source { kind, source }];
    let to = |kind, destination| vec![Destination { kind, destination }];
    let here = called.place(&event.site);
    let Some(other) = &event.other else { return (Vec::new(), Vec::new()) };
    match event.kind {
        EventKind::Received => (from("possessing_party", called.party(other)), to("location", here)),
        EventKind::Arrived | EventKind::Missed => (from("location", called.place(other)), to("location", here)),
        EventKind::Dispatched => (from("location", here), to("location", called.place(other))),
        EventKind::Consigned | EventKind::Returned => {
            (from("location", here), to("possessing_party", called.party(other)))
        }
        EventKind::Packed
        | EventKind::Unpacked
        | EventKind::Destroyed
        | EventKind::Counted
        | EventKind::Transformed => (Vec::new(), Vec::new()),
    }
}

fn papers(called: &Identifiers, event: &TrackingEvent) -> Vec<BizTransaction> {
    let paper = event.paper.as_ref().filter(|paper| paper.kind != PaperKind::Batch);
    // A note that goes with the goods is a despatch advice.
    let shown = paper.map(|paper| BizTransaction { kind: "desadv", biz_transaction: called.paper(event, paper) });
    shown.into_iter().collect()
}

fn quantities(called: &Identifiers, goods: &[Goods]) -> Vec<Quantity> {
    goods.iter().map(|goods| Quantity::of(called.class(goods), Kilograms(goods.grams.mg()))).collect()
}

/// The last day, where it is the same for all that was made.
fn ilmd(made: &[Goods]) -> Option<Ilmd> {
    let expiry = made.first()?.expiry?;
    if made.iter().any(|goods| goods.expiry != Some(expiry)) {
        return None;
    }
    Some(match expiry.kind {
        ExpiryKind::BestBefore => Ilmd { best_before: Some(expiry.on), use_by: None },
        ExpiryKind::UseBy => Ilmd { best_before: None, use_by: Some(expiry.on) },
    })
}

fn common(event: &TrackingEvent) -> Common {
    let offset = FixedOffset::east_opt(event.offset_minutes * 60);
    let event_time = offset.map_or_else(|| event.at.fixed_offset(), |offset| event.at.with_timezone(&offset));
    let withdrawn = event.withdrawn.as_ref().map(|withdrawn| ErrorDeclaration {
        declaration_time: withdrawn.at,
        reason: if withdrawn.instead.is_some() { "incorrect_data" } else { "did_not_occur" },
        corrective_event_ids: withdrawn.instead.iter().cloned().collect(),
        words: withdrawn.reason.clone(),
    });
    Common {
        event_id: event.id.clone(),
        event_time,
        event_time_zone_offset: event_time.format("%:z").to_string(),
        record_time: event.recorded_at,
        error_declaration: withdrawn,
        reason: event.reason.clone(),
    }
}
