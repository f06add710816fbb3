//! Who may do what, where.

use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Saying;
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::problems;

/// What someone is at a site.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Answers for the business: may do everything.
    Owner,
    /// Receives, makes, moves, counts.
    Kitchen,
    /// Receives transfers, opens, serves, counts.
    Shop,
    /// Reads all, writes nothing.
    Inspector,
    /// A till, scale or printer.
    Device,
}

impl Role {
    /// All of them.
    pub const ALL: [Self; 5] = [Self::Owner, Self::Kitchen, Self::Shop, Self::Inspector, Self::Device];

    /// What it is called in a sentence.
    pub const fn saying(self) -> Saying {
        match self {
            Self::Owner => say!("owner"),
            Self::Kitchen => say!("kitchen"),
            Self::Shop => say!("shop"),
            Self::Inspector => say!("inspector"),
            Self::Device => say!("device"),
        }
    }

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Kitchen => "kitchen",
            Self::Shop => "shop",
            Self::Inspector => "inspector",
            Self::Device => "device",
        }
    }

    /// The role a word stands for.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}

/// A role at one site, or at every site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grant {
    /// Which role.
    pub role: Role,
    /// Where, by row id; `None` is everywhere.
    pub site_id: Option<i64>,
}

/// Whoever asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    /// `user:LOGIN`, `device:CODE` or `system`.
    pub name: String,
    /// What they are, where.
    pub grants: Vec<Grant>,
}

impl Actor {
    /// The program itself: the command line and the demonstration.
    pub fn system() -> Self {
        Self { name: "system".into(), grants: vec![Grant { role: Role::Owner, site_id: None }] }
    }

    /// Whether one of the roles is theirs at this site.
    pub fn is_any_at(&self, roles: &[Role], site_id: i64) -> bool {
        self.grants
            .iter()
            .any(|grant| roles.contains(&grant.role) && grant.site_id.is_none_or(|granted| granted == site_id))
    }

    /// Whether they have any role at this site.
    pub fn reaches(&self, site_id: i64) -> bool {
        self.is_any_at(&Role::ALL, site_id)
    }

    /// The sites they reach; `None` is every site.
    pub fn sites(&self) -> Option<Vec<i64>> {
        self.grants.iter().map(|grant| grant.site_id).collect()
    }

    /// The sites at which one of the operation's roles is theirs; `None` is every site.
    pub fn sites_for(&self, operation: &Operation) -> Option<Vec<i64>> {
        self.grants.iter().filter(|grant| operation.roles.contains(&grant.role)).map(|grant| grant.site_id).collect()
    }

    /// Refuses unless one of the operation's roles is theirs at this site: what is out of reach is not found, what is in
    /// reach but not theirs to do is forbidden.
    pub fn may(&self, operation: &Operation, site_id: i64) -> Result<()> {
        if self.is_any_at(operation.roles, site_id) {
            return Ok(());
        }
        if self.reaches(site_id) { Err(forbidden(operation)) } else { Err(OperationError::out_of_reach()) }
    }

    /// Refuses unless one of the operation's roles is theirs somewhere; for what belongs to no site.
    pub fn may_anywhere(&self, operation: &Operation) -> Result<()> {
        let theirs = self.grants.iter().any(|grant| operation.roles.contains(&grant.role));
        if theirs { Ok(()) } else { Err(forbidden(operation)) }
    }

    /// Refuses unless one of the operation's roles is theirs at every site; for what concerns the whole house.
    pub fn may_everywhere(&self, operation: &Operation) -> Result<()> {
        let theirs = self.grants.iter().any(|grant| grant.site_id.is_none() && operation.roles.contains(&grant.role));
        if theirs { Ok(()) } else { Err(forbidden(operation)) }
    }
}

fn forbidden(operation: &Operation) -> OperationError {
    OperationError::new(&problems::FORBIDDEN, say!("this needs the role {roles}", roles = operation.roles_in_words()))
}

/// A request: who asks, and what the journal should know of it.
#[derive(Clone, Debug)]
pub struct Request {
    /// Who asks.
    pub actor: Actor,
    /// Its id, for the log and the journal.
    pub request_id: Option<String>,
    /// The client's key for retrying, with the hash of what was sent.
    pub key: Option<tubtrail_storage::write::Key>,
    /// The last journal entry anybody had committed when it came, or later, where that was asked already.
    pub as_of: Option<i64>,
}

impl Request {
    /// A request of the program itself.
    pub fn system() -> Self {
        Self { actor: Actor::system(), request_id: None, key: None, as_of: None }
    }

    /// A request of someone, without a key.
    pub fn of(actor: Actor) -> Self {
        Self { actor, request_id: None, key: None, as_of: None }
    }
}

/// Something that can be done: its id, in the API description and in the journal, and the roles that may.
#[derive(Debug)]
pub struct Operation {
    /// The handler's name.
    pub id: &'static str,
    /// Who may.
    pub roles: &'static [Role],
}

impl Operation {
    /// The roles in a sentence: “owner or kitchen”.
    pub(crate) fn roles_in_words(&self) -> Saying {
        let each = self.roles.iter().map(|role| role.saying());
        Saying::joined(each, |one, other| say!("{one} or {other}", one, other)).unwrap_or(say!("nobody"))
    }
}

macro_rules! operations {
    ($( $name:ident = $id:literal [$($role:ident)*]; )*) => {
        $( #[doc = concat!("`", $id, "`")] pub static $name: Operation = Operation { id: $id, roles: &[$(Role::$role),*] }; )*
        /// Every operation that asks who you are.
        pub static OPERATIONS: &[&Operation] = &[$( &$name ),*];
    };
}

operations! {
    SHOW_ME = "show_me" [Owner Kitchen Shop Inspector Device];

    LIST_SITES = "list_sites" [Owner Kitchen Shop Inspector Device];
    GET_SITE = "get_site" [Owner Kitchen Shop Inspector Device];
    LIST_SITE_VERSIONS = "list_site_versions" [Owner Kitchen Shop Inspector];
    CREATE_SITE = "create_site" [Owner];
    CHANGE_SITE = "change_site" [Owner];

    LIST_PARTNERS = "list_partners" [Owner Kitchen Shop Inspector Device];
    GET_PARTNER = "get_partner" [Owner Kitchen Shop Inspector Device];
    LIST_PARTNER_VERSIONS = "list_partner_versions" [Owner Kitchen Shop Inspector];
    CREATE_PARTNER = "create_partner" [Owner Kitchen];
    CHANGE_PARTNER = "change_partner" [Owner Kitchen];

    LIST_ITEMS = "list_items" [Owner Kitchen Shop Inspector Device];
    GET_ITEM = "get_item" [Owner Kitchen Shop Inspector Device];
    LIST_ITEM_VERSIONS = "list_item_versions" [Owner Kitchen Shop Inspector];
    CREATE_ITEM = "create_item" [Owner Kitchen];
    CHANGE_ITEM = "change_item" [Owner Kitchen];
    SET_REORDER_LEVEL = "set_reorder_level" [Owner Kitchen Shop];

    LIST_RECIPES = "list_recipes" [Owner Kitchen Inspector];
    GET_RECIPE = "get_recipe" [Owner Kitchen Inspector];
    LIST_RECIPE_VERSIONS = "list_recipe_versions" [Owner Kitchen Inspector];
    CREATE_RECIPE = "create_recipe" [Owner Kitchen];
    CHANGE_RECIPE = "change_recipe" [Owner Kitchen];
    PROPOSE_PICKS = "propose_picks" [Owner Kitchen Inspector];

    LIST_EQUIPMENT = "list_equipment" [Owner Kitchen Shop Inspector];
    GET_EQUIPMENT = "get_equipment" [Owner Kitchen Shop Inspector];
    LIST_EQUIPMENT_VERSIONS = "list_equipment_versions" [Owner Kitchen Shop Inspector];
    CREATE_EQUIPMENT = "create_equipment" [Owner Kitchen];
    CHANGE_EQUIPMENT = "change_equipment" [Owner Kitchen];

    IMPORT_MASTER_DATA = "import_master_data" [Owner];

    LIST_USERS = "list_users" [Owner Inspector];
    CREATE_USER = "create_user" [Owner];
    CHANGE_USER = "change_user" [Owner];
    LIST_DEVICES = "list_devices" [Owner Inspector];
    CREATE_DEVICE = "create_device" [Owner];
    REVOKE_DEVICE = "revoke_device" [Owner];

    RECEIVE_DELIVERY = "receive_delivery" [Owner Kitchen];
    LIST_DELIVERIES = "list_deliveries" [Owner Kitchen Inspector];
    GET_DELIVERY = "get_delivery" [Owner Kitchen Inspector];
    ATTACH_DOCUMENT = "attach_document" [Owner Kitchen];
    LIST_DOCUMENTS = "list_documents" [Owner Kitchen Inspector];
    SHOW_DOCUMENT = "show_document" [Owner Kitchen Inspector];
    TRACE_DELIVERY = "trace_delivery" [Owner Kitchen Inspector];

    LIST_LOTS = "list_lots" [Owner Kitchen Shop Inspector Device];
    GET_LOT = "get_lot" [Owner Kitchen Shop Inspector Device];
    LIST_LOT_MOVEMENTS = "list_lot_movements" [Owner Kitchen Shop Inspector];
    TRACE_LOT = "trace_lot" [Owner Kitchen Shop Inspector];
    DRAW_LOT_TRACE = "draw_lot_trace" [Owner Kitchen Shop Inspector];
    SHOW_PATH = "show_path" [Owner Kitchen Shop Inspector];
    REJECT_LOT = "reject_lot" [Owner Kitchen];
    HOLD_LOT = "hold_lot" [Owner Kitchen Shop];
    LIST_HOLDS = "list_holds" [Owner Kitchen Shop Inspector];
    RELEASE_HOLD = "release_hold" [Owner];

    START_BATCH = "start_batch" [Owner Kitchen];
    WRITE_UP_BATCH = "write_up_batch" [Owner Kitchen];
    LIST_BATCHES = "list_batches" [Owner Kitchen Inspector];
    GET_BATCH = "get_batch" [Owner Kitchen Inspector];
    ADD_USES = "add_uses" [Owner Kitchen];
    VOID_USE = "void_use" [Owner Kitchen];
    ADD_EQUIPMENT = "add_batch_equipment" [Owner Kitchen];
    ADD_READINGS = "add_readings" [Owner Kitchen];
    VOID_READING = "void_reading" [Owner Kitchen];
    COMPLETE_BATCH = "complete_batch" [Owner Kitchen];
    USE_BEFORE_MATURE = "use_before_mature" [Owner];

    OPEN_TUB = "open_tub" [Owner Shop Device];
    SERVE_TUB = "serve_tub" [Owner Shop Device];
    EMPTY_TUB = "empty_tub" [Owner Shop Device];
    DISCARD_LOT = "discard_lot" [Owner Kitchen Shop];
    CONSIGN_LOT = "consign_lot" [Owner Kitchen Shop];

    DISPATCH_TRANSFER = "dispatch_transfer" [Owner Kitchen Shop];
    RECEIVE_TRANSFER = "receive_transfer" [Owner Kitchen Shop];
    LIST_TRANSFERS = "list_transfers" [Owner Kitchen Shop Inspector];
    GET_TRANSFER = "get_transfer" [Owner Kitchen Shop Inspector];

    COUNT_SITE = "count_site" [Owner Kitchen Shop];
    LIST_COUNTS = "list_counts" [Owner Kitchen Shop Inspector];
    GET_COUNT = "get_count" [Owner Kitchen Shop Inspector];
    SHOW_COUNTING = "show_counting" [Owner Kitchen Shop Inspector];
    SHOW_STOCK = "show_stock" [Owner Kitchen Shop Inspector Device];
    LIST_BELOW_REORDER_LEVEL = "list_below_reorder_level" [Owner Kitchen Shop Inspector];
    TOTAL_STOCK = "total_stock" [Owner Kitchen Shop Inspector];

    CREATE_STATEMENT = "create_statement" [Owner Kitchen];
    LIST_STATEMENTS = "list_statements" [Owner Kitchen Shop Inspector];
    GET_STATEMENT = "get_statement" [Owner Kitchen Shop Inspector];
    LIST_STATEMENT_GAPS = "list_statement_gaps" [Owner Kitchen Shop Inspector];
    LIST_CLEAN_KINDS = "list_clean_kinds" [Owner Kitchen Shop Inspector];
    GET_CLEAN_KIND = "get_clean_kind" [Owner Kitchen Shop Inspector];
    LIST_CLEAN_KIND_VERSIONS = "list_clean_kind_versions" [Owner Kitchen Shop Inspector];
    CREATE_CLEAN_KIND = "create_clean_kind" [Owner];
    CHANGE_CLEAN_KIND = "change_clean_kind" [Owner];
    RECORD_CLEAN = "record_clean" [Owner Kitchen Shop];
    LIST_CLEANS = "list_cleans" [Owner Kitchen Shop Inspector];
    VOID_CLEAN = "void_clean" [Owner Kitchen Shop];
    VOID_EQUIPMENT_RUN = "void_equipment_run" [Owner Kitchen];
    SET_SERVING_WAY = "set_serving_way" [Owner];
    LIST_SERVING_WAYS = "list_serving_ways" [Owner Kitchen Shop Inspector];
    RECORD_RESIDUE = "record_residue" [Owner Kitchen];
    LIST_RESIDUES = "list_residues" [Owner Kitchen Shop Inspector];
    SET_CARRY_OVER = "set_carry_over" [Owner];
    LIST_CARRY_OVERS = "list_carry_overs" [Owner Kitchen Shop Inspector];
    CHECK_ALLERGENS = "check_allergens" [Owner Kitchen Shop Inspector Device];
    SHOW_LOT_CONTENTS = "show_lot_contents" [Owner Kitchen Shop Inspector Device];
    SHOW_ALLERGEN_SHEET = "show_allergen_sheet" [Owner Kitchen Shop Inspector Device];
    ORDER_BATCHES = "order_batches" [Owner Kitchen Inspector];

    FORESEE_RECALL = "foresee_recall" [Owner Kitchen Inspector];
    BEGIN_RECALL = "begin_recall" [Owner Kitchen];
    DRAW_RECALL = "draw_recall" [Owner Kitchen Shop Inspector];
    LIST_RECALLS = "list_recalls" [Owner Kitchen Shop Inspector];
    GET_RECALL = "get_recall" [Owner Kitchen Shop Inspector];
    LIST_RECALL_LINES = "list_recall_lines" [Owner Kitchen Shop Inspector];
    FIND_RECALL_LINES = "find_recall_lines" [Owner Kitchen Shop Inspector];
    SHOW_PULL_LIST = "show_pull_list" [Owner Kitchen Shop Inspector];
    CONFIRM_RECALL_LINES = "confirm_recall_lines" [Owner Kitchen Shop];
    LIST_RECALL_CONSIGNEES = "list_recall_consignees" [Owner Kitchen Shop Inspector];
    NOTE_RECALL_NOTICE = "note_recall_notice" [Owner Kitchen];
    NOTE_RECALL_REPLIES = "note_recall_replies" [Owner Kitchen];
    CLOSE_RECALL = "close_recall" [Owner Kitchen];
    WITHDRAW_RECALL = "withdraw_recall" [Owner];
    REPORT_RECALL = "report_recall" [Owner Kitchen Shop Inspector];
    REPORT_LOT_TRACE = "report_lot_trace" [Owner Kitchen Shop Inspector];
    REPORT_DELIVERY_TRACE = "report_delivery_trace" [Owner Kitchen Inspector];
    SHOW_DRILL_REPORT = "show_drill_report" [Owner Kitchen Shop Inspector];

    ADD_ITEM_GTIN = "add_item_gtin" [Owner Kitchen];
    GET_GTIN = "get_gtin" [Owner Kitchen Shop Inspector Device];
    WITHDRAW_GTIN = "withdraw_gtin" [Owner Kitchen];
    SCAN = "scan" [Owner Kitchen Shop Inspector Device];

    EXPORT_EPCIS = "export_epcis" [Owner Inspector];
    EXPORT_FSMA204_XLSX = "export_fsma204_xlsx" [Owner Inspector];
    EXPORT_FSMA204_CSV = "export_fsma204_csv" [Owner Inspector];
    EXPORT_SFCR = "export_sfcr" [Owner Inspector];
    PROPOSE_DELIVERY = "propose_delivery" [Owner Kitchen];

    LIST_WEBHOOKS = "list_webhooks" [Owner Inspector];
    GET_WEBHOOK = "get_webhook" [Owner Inspector];
    CREATE_WEBHOOK = "create_webhook" [Owner];
    ROTATE_WEBHOOK_SECRET = "rotate_webhook_secret" [Owner];
    STOP_WEBHOOK = "stop_webhook" [Owner];
    RESUME_WEBHOOK = "resume_webhook" [Owner];
    TEST_WEBHOOK = "test_webhook" [Owner];
    LIST_WEBHOOK_ATTEMPTS = "list_webhook_attempts" [Owner Inspector];

    LIST_MAKERS = "list_makers" [Owner Kitchen Shop Inspector Device];
    GET_MAKER = "get_maker" [Owner Kitchen Shop Inspector Device];
    LIST_MAKER_VERSIONS = "list_maker_versions" [Owner Kitchen Shop Inspector];
    CREATE_MAKER = "create_maker" [Owner];
    CHANGE_MAKER = "change_maker" [Owner];
    LIST_ITEM_LABELS = "list_item_labels" [Owner Kitchen Shop Inspector Device];
    GET_ITEM_LABEL = "get_item_label" [Owner Kitchen Shop Inspector Device];
    LIST_ITEM_LABEL_VERSIONS = "list_item_label_versions" [Owner Kitchen Shop Inspector];
    CREATE_ITEM_LABEL = "create_item_label" [Owner Kitchen];
    CHANGE_ITEM_LABEL = "change_item_label" [Owner Kitchen];
    LIST_PRINTERS = "list_printers" [Owner Kitchen Shop Inspector Device];
    GET_PRINTER = "get_printer" [Owner Kitchen Shop Inspector Device];
    LIST_PRINTER_VERSIONS = "list_printer_versions" [Owner Kitchen Shop Inspector];
    CREATE_PRINTER = "create_printer" [Owner];
    CHANGE_PRINTER = "change_printer" [Owner];
    SHOW_LABEL = "show_label" [Owner Kitchen Shop Inspector Device];
    DRAW_LABEL_SVG = "draw_label_svg" [Owner Kitchen Shop Inspector Device];
    DRAW_LABEL_PNG = "draw_label_png" [Owner Kitchen Shop Inspector Device];
    DRAW_LABEL_PDF = "draw_label_pdf" [Owner Kitchen Shop Inspector Device];
    PRINT_LABEL = "print_label" [Owner Kitchen Shop Device];
    OVERRIDE_LABEL = "override_label" [Owner Kitchen];
    LIST_LOT_PRINTS = "list_lot_prints" [Owner Kitchen Shop Inspector Device];
    LIST_PRINTS = "list_prints" [Owner Kitchen Shop Inspector Device];
    GET_PRINT = "get_print" [Owner Kitchen Shop Inspector Device];
    DRAW_PRINT_SVG = "draw_print_svg" [Owner Kitchen Shop Inspector Device];
    DRAW_PRINT_PNG = "draw_print_png" [Owner Kitchen Shop Inspector Device];
    DRAW_PRINT_PDF = "draw_print_pdf" [Owner Kitchen Shop Inspector Device];
    CANCEL_PRINT = "cancel_print" [Owner Kitchen Shop];
    SETTLE_PRINT = "settle_print" [Owner Kitchen Shop];

    LIST_JOURNAL = "list_journal" [Owner Inspector];
    FOLLOW_CHANGES = "follow_changes" [Owner Inspector];
    SHOW_INSTALLATION = "show_installation" [Owner Inspector];
}

/// What is sent as a command is and only reads: it leaves no entry in the journal.
pub static ONLY_READ: &[&Operation] = &[&CHECK_ALLERGENS, &ORDER_BATCHES, &SCAN, &PROPOSE_DELIVERY, &FORESEE_RECALL];

/// Commands of the busiest hours. They read nothing of the journal, or see to it by themselves that it can be read: so the
/// entries of those that share a commit are written together.
pub static LEAVE_JOURNAL: &[&Operation] = &[
    &HOLD_LOT,
    &START_BATCH,
    &ADD_USES,
    &COMPLETE_BATCH,
    &OPEN_TUB,
    &SERVE_TUB,
    &EMPTY_TUB,
    &DISCARD_LOT,
    &CONSIGN_LOT,
];

/// What the server itself does at its printers: no request asks for it.
pub(crate) static NOTE_PRINT_STEP: Operation = Operation { id: "note_print_step", roles: &[Role::Owner] };

/// What is only read and may be refused all the same, as things stand.
pub static READ_MAY_BE_REFUSED: &[&Operation] = &[&SHOW_LABEL, &DRAW_LABEL_SVG, &DRAW_LABEL_PNG, &DRAW_LABEL_PDF];
