//! The demonstration: thirty days of a made-up maker, four questions answered and held against a recount, and a server to
//! look at it all.

mod cast;
mod days;
mod labels;
mod opening;
mod questions;

use std::error::Error;

use chrono::{Days, NaiveDate, NaiveTime, Utc};
use tubtrail_operations::devices::NewDevice;
use tubtrail_operations::passwords::Password;
use tubtrail_operations::sessions::Credentials;
use tubtrail_operations::users::{NewUser, RoleAt};
use tubtrail_operations::{DatabaseUrl, OperationError, Request, Role, Steps, Tubtrail};

use days::{DAYS, Hands, RECALLED};
use questions::{Answer, Questions};

/// Someone who may come in, and with which password.
pub struct Login {
    /// What they type.
    pub login: String,
    /// Made for this demonstration.
    pub password: String,
    /// What they are, in words.
    pub who: String,
}

/// Who and what may come in.
pub struct Guests {
    /// A login for each role.
    pub logins: Vec<Login>,
    /// The token of the till at the first shop.
    pub till_token: String,
}

/// Plays the thirty days into an empty database, asks the four questions, and prints all of it. Answers who may come in.
///
/// # Errors
/// If anything is refused, or if an answer contradicts the recount.
pub fn play(database: &DatabaseUrl) -> Result<Guests, Box<dyn Error>> {
    let first = Utc::now().date_naive() - Days::new(DAYS);
    let clock = Steps::new(first.and_time(NaiveTime::MIN).and_utc());
    let house = Tubtrail::open(database, clock.clock())?;
    if house.is_ready()? > 0 {
        return Err("this database is in use already; the demonstration wants an empty one".into());
    }
    opening::write_master_data(&house)?;
    opening::write_statements(&house, first)?;
    labels::write_labels(&house)?;
    let logins = add_people(&house)?;
    let hands = Hands {
        kitchen: request_of(&house, &logins, "kitchen")?,
        owner: request_of(&house, &logins, "owner")?,
        shops: cast::SHOPS
            .iter()
            .map(|shop| Ok((*shop, request_of(&house, &logins, shop)?)))
            .collect::<Result<_, OperationError>>()?,
    };
    println!("Playing {DAYS} days of Northquay, from {first}:");
    let mut days = days::Days::new(&house, &clock, &hands, first);
    for day in 0..DAYS {
        days.play(day)?;
        progress(&house, first, day)?;
    }
    let tubs = (days.dark_with_rework.take(), days.with_rum.take());
    ask(&house, tubs)?;
    Ok(Guests { logins, till_token: add_till(&house)? })
}

fn progress(house: &Tubtrail, first: NaiveDate, day: u64) -> Result<(), OperationError> {
    if (day + 1).is_multiple_of(5) {
        let entries = house.is_ready()?;
        println!("  day {:>2}, {}: {entries} journal entries", day + 1, first + Days::new(day));
    }
    Ok(())
}

fn ask(house: &Tubtrail, tubs: (Option<String>, Option<String>)) -> Result<(), Box<dyn Error>> {
    let (Some(dark), Some(rum)) = tubs else { return Err("the thirty days made no such tubs".into()) };
    println!("\nEverything that can be recomputed was:");
    crate::cli::verify::tell(&house.verify()?)?;
    let questions = Questions::new(house)?;
    let answers = [
        questions.hazelnut_in(&dark)?,
        questions.recalled("kestrel-nuts", RECALLED)?,
        questions.what_is_in(&rum)?,
        questions.open_now(cast::SHOPS[0], "hazelnut")?,
    ];
    answers.iter().zip(1..).for_each(|(answer, number)| show(answer, number));
    let contradictions: usize = answers.iter().map(|answer| answer.contradictions.len()).sum();
    if contradictions > 0 {
        return Err(format!("{contradictions} contradictions between the answers and the recount of the facts").into());
    }
    println!("\nEvery answer agrees with an independent recount of the facts.");
    Ok(())
}

fn show(answer: &Answer, number: u32) {
    println!("\nQuestion {number}. {}\n{}", answer.question, answer.in_words.trim_end());
    for contradiction in &answer.contradictions {
        println!("  CONTRADICTION: {contradiction}");
    }
}

fn add_people(house: &Tubtrail) -> Result<Vec<Login>, Box<dyn Error>> {
    let mut people = vec![
        ("owner", "Owner", Role::Owner, None),
        ("kitchen", "Kitchen hand", Role::Kitchen, Some("kitchen")),
        ("inspector", "Inspector", Role::Inspector, None),
    ];
    people.extend(cast::SHOPS.iter().map(|shop| (*shop, "Shop hand", Role::Shop, Some(*shop))));
    people.into_iter().map(|(login, name, role, site)| add_person(house, login, name, role, site)).collect()
}

fn add_person(
    house: &Tubtrail,
    login: &str,
    name: &str,
    role: Role,
    site: Option<&str>,
) -> Result<Login, Box<dyn Error>> {
    let password = fresh_password()?;
    let new = NewUser {
        login: login.into(),
        name: name.into(),
        password: Password(password.clone()),
        roles: vec![RoleAt { role, site: site.map(str::to_owned) }],
    };
    house.create_user(&Request::system(), new)?;
    let who = match site {
        Some(site) => format!("{} at {site}", role.word()),
        None => role.word().to_owned(),
    };
    Ok(Login { login: login.into(), password, who })
}

fn add_till(house: &Tubtrail) -> Result<String, OperationError> {
    let new =
        NewDevice { code: "harbour-till".into(), name: "Till at the harbour".into(), site: cast::SHOPS[0].into() };
    Ok(house.create_device(&Request::system(), new)?.answer.token)
}

/// Sixteen letters and digits that are easily told apart.
fn fresh_password() -> Result<String, Box<dyn Error>> {
    const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
    let mut bytes = [0; 16];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)])).collect())
}

/// Signs someone in and acts as them from then on.
fn request_of(house: &Tubtrail, logins: &[Login], login: &str) -> Result<Request, OperationError> {
    let found = logins.iter().find(|one| one.login == login);
    let password = found.map(|one| one.password.clone()).unwrap_or_default();
    let welcome = house.sign_in(&Credentials { login: login.into(), password: Password(password) }, None)?;
    Ok(Request::of(house.user_of_session(&welcome.login, &welcome.mark)?))
}
