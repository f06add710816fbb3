//! Devices: tills, scales and printers with a token of their own.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::{Deserialize, Serialize};
use tubtrail_domain::say;
use tubtrail_domain::saying::Quoted;
use tubtrail_storage::master_data::{Noun, Site};
use tubtrail_storage::people::{self as stored, DeviceRevocationRow, DeviceRow};
use tubtrail_storage::{AnyConnection, StorageError, WriteTx};
use utoipa::ToSchema;

use crate::error::{OperationError, Result};
use crate::master_data::{MOST, Page};
use crate::reach::{self, Actor, Request, Role};
use crate::tubtrail::{Answered, Tubtrail};
use crate::{digest, fields, problems, random};

/// What every device's token begins with: to tell it from a session's, and to find one that leaked.
pub const TOKEN_PREFIX: &str = "tubtrail_device_";
/// Random bytes of a token.
const TOKEN_BYTES: usize = 32;

/// A till, scale or printer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"code": "harbour-till", "name": "Till at the harbour", "site": "harbour-shop", "active": false,
    "revoked_because": "Stolen."}))]
pub struct Device {
    /// Its code.
    #[schema(max_length = 40)]
    pub code: String,
    /// As shown.
    pub name: String,
    /// The site it stands at.
    pub site: String,
    /// May come in.
    pub active: bool,
    /// Why it may not any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revoked_because: Option<String>,
}

/// A new device.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "harbour-till", "name": "Till at the harbour", "site": "harbour-shop"}))]
pub struct NewDevice {
    /// Its code; it never changes.
    #[schema(max_length = 40, pattern = "^[a-z0-9][a-z0-9-]*$")]
    pub code: String,
    /// As shown.
    #[schema(max_length = 120)]
    pub name: String,
    /// The site it stands at.
    #[schema(max_length = 40)]
    pub site: String,
}

/// A new device with its token.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"code": "harbour-till", "name": "Till at the harbour", "site": "harbour-shop", "active": true,
    "token": "tubtrail_device_FrtLbFLHQ2lrQGn6Wd2b0UOqW0Ee3vGmS2s0cKzjQ9E"}))]
pub struct DeviceWithToken {
    /// The device.
    #[serde(flatten)]
    pub device: Device,
    /// Its token: shown this once.
    pub token: String,
}

/// Why a device may come in no more.
#[derive(Clone, Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"reason": "Stolen."}))]
pub struct Revocation {
    /// Why.
    #[schema(max_length = 2000)]
    pub reason: String,
}

impl Tubtrail {
    /// Devices within reach, by code.
    pub fn list_devices(&self, request: &Request, after: &str, limit: u32) -> Result<Page<Device>> {
        request.actor.may_anywhere(&reach::LIST_DEVICES)?;
        fields::after_code("after", after)?;
        let limit = limit.clamp(1, MOST);
        self.read(|conn| {
            let sites = sites_of(&request.actor, reach::LIST_DEVICES.roles);
            let devices = stored::devices_page(conn, after, sites, i64::from(limit) + 1)?;
            let devices = devices.into_iter().map(|device| answer(conn, device)).collect::<Result<Vec<_>>>()?;
            Ok(Page::cut(devices, limit as usize, |device| device.code.clone()))
        })
    }

    /// Lets a device come in; its token is answered this once.
    pub fn create_device(&self, request: &Request, new: NewDevice) -> Result<Answered<DeviceWithToken>> {
        request.actor.may_anywhere(&reach::CREATE_DEVICE)?;
        let actor = request.actor.clone();
        let token = new_token()?;
        self.write_secret(request, &reach::CREATE_DEVICE, move |tx| create(tx, &actor, &new, token))
    }

    /// Lets a device come in no more.
    pub fn revoke_device(&self, request: &Request, code: &str, revocation: Revocation) -> Result<Answered<Device>> {
        request.actor.may_anywhere(&reach::REVOKE_DEVICE)?;
        let (actor, code) = (request.actor.clone(), code.to_owned());
        self.write(request, &reach::REVOKE_DEVICE, move |tx| revoke(tx, &actor, &code, &revocation))
    }
}

fn create(tx: &mut WriteTx<'_>, actor: &Actor, new: &NewDevice, token: String) -> Result<DeviceWithToken> {
    fields::code("code", &new.code)?;
    let name = fields::name("name", &new.name)?;
    let site = fields::site(tx.conn()?, "site", &new.site)?;
    actor.may(&reach::CREATE_DEVICE, site.row.id)?;
    if stored::device_by_code(tx.conn()?, &new.code)?.is_some() {
        let detail = say!("there is a device {code} already", code = Quoted(&new.code));
        return Err(OperationError::new(&problems::CODE_TAKEN, detail).at("code"));
    }
    tx.at_site(site.row.id);
    let row = DeviceRow {
        id: tx.id(),
        entry: tx.entry(),
        code: new.code.clone(),
        name,
        site_id: site.row.id,
        token_hash: token_hash(&token),
    };
    tx.record(&row)?;
    let device = answer(tx.conn()?, stored::Device { row, revoked: None })?;
    Ok(DeviceWithToken { device, token })
}

fn revoke(tx: &mut WriteTx<'_>, actor: &Actor, code: &str, revocation: &Revocation) -> Result<Device> {
    let device = stored::device_by_code(tx.conn()?, code)?
        .filter(|device| actor.reaches(device.row.site_id))
        .ok_or_else(|| OperationError::not_found(say!("device"), code))?;
    actor.may(&reach::REVOKE_DEVICE, device.row.site_id)?;
    let reason = fields::reason("reason", Some(&revocation.reason))?;
    if device.revoked.is_some() {
        return Err(OperationError::of(&problems::ALREADY_REVOKED));
    }
    tx.at_site(device.row.site_id);
    let (id, entry) = (tx.id(), tx.entry());
    tx.record(&DeviceRevocationRow { id, entry, device_id: device.row.id, reason: reason.clone() })?;
    answer(tx.conn()?, stored::Device { revoked: Some(reason), ..device })
}

/// The sites at which an actor has one of the roles; `None` is every site.
fn sites_of(actor: &Actor, roles: &[Role]) -> Option<Vec<i64>> {
    actor.grants.iter().filter(|grant| roles.contains(&grant.role)).map(|grant| grant.site_id).collect()
}

fn answer(conn: &mut AnyConnection, device: stored::Device) -> Result<Device> {
    let site = Site::by_id(conn, device.row.site_id)?;
    let site = site.ok_or_else(|| StorageError::Corrupt(format!("site row {}", device.row.site_id)))?;
    Ok(Device {
        code: device.row.code,
        name: device.row.name,
        site: site.row.code,
        active: device.revoked.is_none(),
        revoked_because: device.revoked,
    })
}

fn new_token() -> Result<String> {
    Ok(format!("{TOKEN_PREFIX}{}", URL_SAFE_NO_PAD.encode(random::bytes::<TOKEN_BYTES>()?)))
}

/// 256 random bits cannot be guessed, so that a fast hash is enough.
pub(crate) fn token_hash(token: &str) -> String {
    digest::sha256_hex(token.as_bytes())
}
