//! People: who may come in, and as what, where.

use actix_web::{HttpRequest, get, post, web};
use askama::Template;
use tubtrail_domain::say;
use tubtrail_operations::master_data::MOST;
use tubtrail_operations::passwords::Password;
use tubtrail_operations::reach::{self, Role};
use tubtrail_operations::sites::Site;
use tubtrail_operations::users::{NewUser, RoleAt, User, UserChange};
use tubtrail_operations::{OperationError, Request, Tubtrail};

use crate::house::{House, off_thread};
use crate::pages::fields::Fields;
use crate::pages::forms::{Form, same_name, see_said};
use crate::pages::page::{Frame, Shown, Unable, render};
use crate::pages::rights::may_everywhere;
use crate::pages::texts::Texts;
use crate::pages::visitor::{Sent, Visitor};

/// What a person can be.
const ROLES: [Role; 4] = [Role::Owner, Role::Kitchen, Role::Shop, Role::Inspector];
/// Roles a form has at least.
const LEAST_ROLES: usize = 2;
/// Roles of one person at most.
const MOST_ROLES: usize = 50;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(people_page).service(add_person).service(person_page).service(change_person);
}

#[derive(Template)]
#[template(path = "upkeep_people.html")]
struct PeoplePage {
    frame: Frame,
    everybody: Vec<User>,
    sites: Vec<Site>,
    form: Form,
    may_keep: bool,
}

#[derive(Template)]
#[template(path = "upkeep_person.html")]
struct PersonPage {
    frame: Frame,
    user: User,
    sites: Vec<Site>,
    form: Form,
    may_keep: bool,
}

/// Who may come in.
#[get("/upkeep/people")]
async fn people_page(house: House, visitor: Visitor, request: HttpRequest) -> Shown {
    let form = Form::new(&visitor, Fields::default());
    show_people(house, &visitor, &request, form).await
}

/// Adds somebody.
#[post("/upkeep/people")]
async fn add_person(house: House, sent: Sent, request: HttpRequest) -> Shown {
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let text = |name: &str| fields.get(name).unwrap_or("").trim().to_owned();
    let password = Password(fields.get("password").unwrap_or("").to_owned());
    let new = NewUser { login: text("login"), name: text("name"), password, roles: Vec::new() };
    let (inside, given) = (house.clone(), fields.clone());
    let done = off_thread(move || {
        let new = NewUser { roles: roles(&given)?, ..new };
        inside.tubtrail.create_user(&commands, new)
    });
    match done.await {
        Ok(_) => Ok(see_said("/upkeep/people", "done")),
        Err(problem) => {
            let typed = fields.clone();
            let form = Form::refused(&visitor, without_password(&fields), problem, |field| place(field, &typed));
            show_people(house, &visitor, &request, form.map_err(Unable::of(&request))?).await
        }
    }
}

/// Somebody.
#[get("/upkeep/people/{login}")]
async fn person_page(house: House, visitor: Visitor, request: HttpRequest, login: web::Path<String>) -> Shown {
    show_person(house, &visitor, &request, login.into_inner(), None).await
}

/// Changes what somebody is, or lets them come in no more.
#[post("/upkeep/people/{login}")]
async fn change_person(house: House, sent: Sent, request: HttpRequest, login: web::Path<String>) -> Shown {
    let login = login.into_inner();
    let commands = sent.commands(request.path());
    let Sent { visitor, fields } = sent;
    let (inside, given, at) = (house.clone(), fields.clone(), login.clone());
    let done = off_thread(move || {
        let change = UserChange {
            name: given.get("name").unwrap_or("").trim().to_owned(),
            active: given.get("active").is_some(),
            roles: roles(&given)?,
            password: given.get("password").map(|password| Password(password.to_owned())),
            version: given.get("version").and_then(|version| version.parse().ok()).unwrap_or(0),
        };
        inside.tubtrail.change_user(&commands, &at, change)
    });
    match done.await {
        Ok(_) => Ok(see_said(&format!("/upkeep/people/{login}"), "done")),
        Err(problem) => {
            let typed = fields.clone();
            let form = Form::refused(&visitor, without_password(&fields), problem, |field| place(field, &typed));
            let form = form.map_err(Unable::of(&request))?;
            show_person(house, &visitor, &request, login, Some(form)).await
        }
    }
}

/// A password is never shown again.
fn without_password(fields: &Fields) -> Fields {
    fields.iter().filter(|(name, _)| *name != "password").collect()
}

/// The roles a form names.
fn roles(fields: &Fields) -> Result<Vec<RoleAt>, OperationError> {
    let role = |index: usize| {
        let field = format!("roles[{index}].role");
        let word = fields.get(&field)?;
        let role = Role::from_word(word).ok_or_else(|| OperationError::invalid(field, say!("there is no such role")));
        let site = fields.get(&format!("roles[{index}].site")).map(str::to_owned);
        Some(role.map(|role| RoleAt { role, site }))
    };
    (0..MOST_ROLES).filter_map(role).collect()
}

/// Where the form shows a field of the operation: roles left empty were not sent.
fn place(field: &str, fields: &Fields) -> Option<String> {
    if let Some((position, part)) = field.strip_prefix("roles[").and_then(|rest| rest.split_once("].")) {
        let said = (0..MOST_ROLES).filter(|index| fields.get(&format!("roles[{index}].role")).is_some());
        let index = position.parse().ok().and_then(|position| { said }.nth(position))?;
        return Some(format!("roles[{index}].{part}"));
    }
    if field == "roles" {
        return Some("roles[0].role".to_owned());
    }
    same_name(&["login", "name", "password"])(field)
}

fn sites(tubtrail: &Tubtrail, asks: &Request) -> Result<Vec<Site>, OperationError> {
    Ok(tubtrail.list::<Site>(asks, "", MOST)?.items)
}

/// Everybody, by login.
fn everybody(tubtrail: &Tubtrail, asks: &Request) -> Result<Vec<User>, OperationError> {
    let mut people: Vec<User> = Vec::new();
    loop {
        let after = people.last().map_or_else(String::new, |last| last.login.clone());
        let page = tubtrail.list_users(asks, &after, MOST)?;
        people.extend(page.items);
        if page.next.is_none() {
            return Ok(people);
        }
    }
}

async fn show_people(house: House, visitor: &Visitor, request: &HttpRequest, form: Form) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || {
        let tubtrail = &house.tubtrail;
        Ok((tubtrail.show_me(&asks)?, everybody(tubtrail, &asks)?, sites(tubtrail, &asks)?))
    });
    let (me, people, sites) = found.await.map_err(Unable::of(request))?;
    let may_keep = may_everywhere(&me, &reach::CREATE_USER);
    let page = PeoplePage { frame: Frame::of(visitor, request, me), everybody: people, sites, form, may_keep };
    Ok(render(page.form.status(), &page))
}

async fn show_person(
    house: House,
    visitor: &Visitor,
    request: &HttpRequest,
    login: String,
    refused: Option<Form>,
) -> Shown {
    let asks = visitor.asks();
    let found = off_thread(move || {
        let tubtrail = &house.tubtrail;
        let person = everybody(tubtrail, &asks)?.into_iter().find(|user| user.login == login);
        let person = person.ok_or_else(|| OperationError::not_found(say!("user"), &login))?;
        Ok((tubtrail.show_me(&asks)?, person, sites(tubtrail, &asks)?))
    });
    let (me, person, sites) = found.await.map_err(Unable::of(request))?;
    let form = refused.unwrap_or_else(|| Form::new(visitor, of_person(&person)));
    let may_keep = may_everywhere(&me, &reach::CHANGE_USER);
    let page = PersonPage { frame: Frame::of(visitor, request, me), user: person, sites, form, may_keep };
    Ok(render(page.form.status(), &page))
}

/// What somebody's form begins with.
fn of_person(person: &User) -> Fields {
    let mut fields = vec![("name".to_owned(), person.name.clone()), ("version".to_owned(), person.version.to_string())];
    if person.active {
        fields.push(("active".to_owned(), "true".to_owned()));
    }
    for (index, at) in person.roles.iter().enumerate() {
        fields.push((format!("roles[{index}].role"), at.role.word().to_owned()));
        fields.extend(at.site.iter().map(|site| (format!("roles[{index}].site"), site.clone())));
    }
    fields.into_iter().collect()
}

fn role_text(texts: &Texts, role: Role) -> String {
    texts.say(&format!("role-{}", role.word())).into_owned()
}

/// How many roles a form has room for: those that are there, and one more.
fn roles_shown(form: &Form) -> usize {
    let last = (0..MOST_ROLES).rev().find(|index| !form.value(&format!("roles[{index}].role")).is_empty());
    (last.map_or(0, |last| last + 1) + 1).clamp(LEAST_ROLES, MOST_ROLES)
}

/// A role of a form, by the names of its fields.
struct RoleFields {
    number: String,
    role: String,
    site: String,
}

fn role_fields(form: &Form) -> Vec<RoleFields> {
    let fields = |index: usize| RoleFields {
        number: (index + 1).to_string(),
        role: format!("roles[{index}].role"),
        site: format!("roles[{index}].site"),
    };
    (0..roles_shown(form)).map(fields).collect()
}

impl PeoplePage {
    fn role(&self, role: Role) -> String {
        role_text(self.frame.texts, role)
    }

    fn roles(&self) -> Vec<RoleFields> {
        role_fields(&self.form)
    }

    /// What somebody is, where, in words.
    fn told(&self, person: &User) -> String {
        let texts = self.frame.texts;
        let role = |at: &RoleAt| {
            let role = role_text(texts, at.role);
            let site = at.site.clone().unwrap_or_else(|| texts.say("role-everywhere").into_owned());
            texts.say_with("role-at", &[("role", &role), ("site", &site)]).into_owned()
        };
        person.roles.iter().map(role).collect::<Vec<_>>().join(", ")
    }
}

impl PersonPage {
    fn role(&self, role: Role) -> String {
        role_text(self.frame.texts, role)
    }

    fn roles(&self) -> Vec<RoleFields> {
        role_fields(&self.form)
    }
}
