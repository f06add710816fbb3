//! Every problem an answer can name: a stable word, a title, and what sort it is.
//!
//! A command checks in this order and names the first that fails: who asks (sign-in, reach, role), the form of what was
//! sent, what it names (unknown codes), the state of things (holds, dates, places, quantities), the graph (loops).

use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;

/// What sort of problem it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// Cannot be read at all.
    Malformed,
    /// Nobody known asks.
    NotSignedIn,
    /// Known, but not allowed.
    Forbidden,
    /// Not there, or out of reach.
    NotFound,
    /// There, but not to be asked in this way.
    WrongMethod,
    /// Sent as something that is not taken there.
    WrongType,
    /// Well said, but the state of things speaks against it.
    Refused,
    /// Can be read, but makes no sense.
    Invalid,
    /// Larger than is taken.
    TooLarge,
    /// Too many attempts.
    TooMany,
    /// Not now; try again.
    Unavailable,
    /// Our fault.
    Internal,
}

/// A problem: its word, its title and its sort.
#[derive(Debug, PartialEq, Eq)]
pub struct Problem {
    /// Stable; the last part of the problem's type.
    pub word: &'static str,
    /// A short sentence.
    pub title: Saying,
    /// What sort it is.
    pub sort: Sort,
}

macro_rules! problems {
    ($( $(#[$doc:meta])* $name:ident = $sort:ident $word:literal $title:literal; )*) => {
        $( $(#[$doc])* #[doc = $title] pub static $name: Problem = Problem { word: $word, title: say!($title), sort: Sort::$sort }; )*
        /// All of them.
        pub static ALL: &[&Problem] = &[$( &$name ),*];
    };
}

problems! {
    MALFORMED = Malformed "malformed" "The request cannot be read.";
    NOT_SIGNED_IN = NotSignedIn "not-signed-in" "Sign in first.";
    WRONG_PASSWORD = NotSignedIn "wrong-password" "The name or the password is wrong.";
    SESSION_OVER = NotSignedIn "session-over" "The session is over; sign in again.";
    FORBIDDEN = Forbidden "forbidden" "Your role does not allow this.";
    NOT_FOUND = NotFound "not-found" "There is no such thing, or it is out of your reach.";
    WRONG_METHOD = WrongMethod "wrong-method" "This address is not to be asked in this way.";
    WRONG_TYPE = WrongType "wrong-content-type" "What was sent is not of a type that is taken here.";
    TOO_LARGE = TooLarge "too-large" "The request is larger than is taken.";
    TOO_MANY_ATTEMPTS = TooMany "too-many-attempts" "Too many wrong attempts; wait before the next.";
    BUSY = TooMany "busy" "Too many commands are waiting; try again in a moment.";
    UNAVAILABLE = Unavailable "unavailable" "The database cannot be reached; nothing was done, or it will be found done on a retry.";
    INTERNAL = Internal "internal" "Something went wrong on our side.";
    KEY_REUSED = Invalid "key-reused" "This Idempotency-Key was used for another request.";
    ANSWER_SHOWN_ONCE = Refused "answer-shown-once" "This was done before, and its answer is shown only once.";

    INVALID = Invalid "invalid" "A field does not hold what it should.";
    UNKNOWN_CODE = Invalid "unknown-code" "A code names nothing we know.";
    NOT_IN_USE = Invalid "not-in-use" "A code names something no longer in use.";
    WRONG_KIND = Invalid "wrong-kind" "A code names something of another kind.";
    BAD_QUANTITY = Invalid "bad-quantity" "A quantity cannot be used as it stands.";
    BAD_LOT_NUMBER = Invalid "bad-lot-number" "A lot number is mistyped.";
    IN_THE_FUTURE = Invalid "in-the-future" "It cannot have happened yet.";
    OUT_OF_ORDER = Invalid "out-of-order" "It cannot have happened at that time.";
    NEEDS_REASON = Invalid "needs-reason" "This needs a reason.";
    NEEDS_DENSITY = Invalid "needs-density" "This needs a measured density.";
    REPEATED = Invalid "repeated" "The same thing is named twice.";
    UNKNOWN_ALLERGEN = Invalid "unknown-allergen" "A word names no allergen we know.";
    SAYS_NOTHING = Invalid "says-nothing" "The statement says nothing.";
    ADDRESS_REFUSED = Invalid "address-refused" "Webhooks are not sent to this address.";
    PAST_ITS_DATE = Invalid "past-its-date" "It was past its date on arrival; it can only be rejected.";

    LABEL_NO_ROOM = Invalid "label-no-room" "It does not fit on the label.";

    CODE_TAKEN = Refused "code-taken" "This code is taken.";
    VERSION_MOVED = Refused "version-moved" "Someone changed this meanwhile.";
    TRACE_MOVED = Refused "trace-moved" "The trace changed while its pages were read.";
    NOT_ENOUGH = Refused "not-enough" "There is not that much of it there.";
    LOT_ELSEWHERE = Refused "lot-elsewhere" "The lot is not at this site.";
    EQUIPMENT_ELSEWHERE = Refused "equipment-elsewhere" "The equipment does not stand at this site.";
    LOT_RECALLED = Refused "lot-recalled" "The lot is under recall.";
    NOTHING_FITS = Invalid "nothing-fits" "No lot fits what a recall should begin with.";
    RECALL_ENDED = Refused "recall-ended" "The recall is closed or withdrawn.";
    RECALL_OPEN_LINES = Refused "recall-open-lines" "Not everything of the recall is confirmed or explained.";
    NOT_RECALLED = Refused "not-recalled" "The recall does not reach this lot there.";
    LOT_ON_HOLD = Refused "lot-on-hold" "The lot is on hold.";
    LOT_REJECTED = Refused "lot-rejected" "The lot was rejected.";
    LOT_EXPIRED = Refused "lot-expired" "The lot is past its date.";
    NOT_MATURE = Refused "not-mature" "The lot has not matured long enough.";
    SEEN_BEFORE = Refused "seen-before" "This supplier lot was already received under this document.";
    WOULD_LOOP = Refused "would-loop" "A lot cannot contain itself.";
    BATCH_COMPLETED = Refused "batch-completed" "The batch is already completed.";
    BATCH_OPEN = Refused "batch-open" "The batch is not completed yet.";
    MORE_OUT_THAN_IN = Refused "more-out-than-in" "More came out than went in.";
    ALREADY_VOIDED = Refused "already-voided" "It was already voided.";
    ALREADY_CORRECTED = Refused "already-corrected" "The statement was already corrected.";
    ALREADY_RECEIVED = Refused "already-received" "The transfer was already received.";
    ALREADY_OPEN = Refused "already-open" "The tub is already open.";
    NOT_OPEN = Refused "not-open" "The tub is not open.";
    NOT_A_TUB = Refused "not-a-tub" "The lot is not a tub.";
    ALREADY_RELEASED = Refused "already-released" "The hold was already released.";
    LABEL_UNKNOWN = Refused "label-unknown" "Something on the label is unknown.";
    LABEL_DATE = Refused "label-date" "The law has no such date on a label.";
    PRINT_UNDER_WAY = Refused "print-under-way" "The printer has it already, or is done with it.";
    LAST_OWNER = Refused "last-owner" "Somebody must remain who may do everything.";
    ALREADY_REVOKED = Refused "already-revoked" "The device was already revoked.";
    WEBHOOK_STOPPED = Refused "webhook-stopped" "Nothing is sent to this webhook already.";
    WEBHOOK_RUNNING = Refused "webhook-running" "This webhook is not stopped.";
    TOO_MANY_WEBHOOKS = Refused "too-many-webhooks" "There are as many webhooks as can be served.";
    NO_WEBHOOK_KEY = Refused "no-webhook-key" "This server has no key to make a webhook's secret with.";
}
