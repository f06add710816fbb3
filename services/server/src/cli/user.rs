//! `tubtrail user`

use std::io::{BufRead, IsTerminal, Read, stdin, stdout};
use std::path::{Path, PathBuf};

use clap::{Args, Subcommand};
use rustix::termios::{LocalModes, OptionalActions, tcgetattr, tcsetattr};
use tubtrail_operations::passwords::Password;
use tubtrail_operations::users::{NewUser, RoleAt};
use tubtrail_operations::{Request, Role, Tubtrail, system_clock};

use super::{Outcome, in_words};
use crate::config::Settings;

/// Most of a password file that is read, in bytes.
const LARGEST: u64 = 4096;

#[derive(Debug, Subcommand)]
pub enum User {
    /// Lets someone new come in.
    Add(Add),
}

#[derive(Debug, Args)]
#[command(after_help = "\
The password (12 to 128 characters) is asked for without showing it, or read from a file, or from standard input.

Examples:
  tubtrail user add olga --name 'Olga Owner' --role owner
  tubtrail user add ines --name 'Ines at the harbour' --role shop@harbour-shop --role shop@market-shop
  tubtrail user add karl --name 'Karl in the kitchen' --role kitchen@quay-kitchen --password-file /run/secrets/karl")]
pub struct Add {
    /// What they will type: small letters, digits and hyphens
    login: String,
    /// As shown
    #[arg(long)]
    name: String,
    /// A role (owner, kitchen, shop, inspector), everywhere or at one site; may be given more than once
    #[arg(long = "role", value_name = "ROLE[@SITE]", required = true, value_parser = role)]
    roles: Vec<RoleAt>,
    /// Reads the password from a file; - is standard input
    #[arg(long, value_name = "FILE")]
    password_file: Option<PathBuf>,
}

impl User {
    pub fn run(&self, settings: &Settings) -> Outcome {
        let Self::Add(add) = self;
        let password = Password(add.password()?);
        let tubtrail = Tubtrail::open(&settings.database, system_clock()).map_err(|error| in_words(&error))?;
        let new = NewUser { login: add.login.clone(), name: add.name.clone(), password, roles: add.roles.clone() };
        let done = tubtrail.create_user(&Request::system(), new).map_err(|error| in_words(&error))?;
        println!("added {}", done.answer.login);
        Ok(())
    }
}

impl Add {
    fn password(&self) -> Result<String, String> {
        match self.password_file.as_deref() {
            Some(path) if path == Path::new("-") => read(stdin().lock(), "standard input"),
            Some(path) => {
                let name = path.display().to_string();
                read(std::fs::File::open(path).map_err(|error| format!("{name}: {error}"))?, &name)
            }
            None if stdin().is_terminal() => ask(),
            None => first_line(),
        }
    }
}

fn role(text: &str) -> Result<RoleAt, String> {
    let (word, site) = text.split_once('@').map_or((text, None), |(word, site)| (word, Some(site.to_owned())));
    let role = Role::from_word(word).filter(|role| *role != Role::Device);
    let role = role.ok_or("the roles are owner, kitchen, shop and inspector; a site goes behind an @")?;
    Ok(RoleAt { role, site })
}

/// All of it, but for the line end an editor leaves.
fn read(from: impl Read, name: &str) -> Result<String, String> {
    let mut text = String::new();
    from.take(LARGEST).read_to_string(&mut text).map_err(|error| format!("{name}: {error}"))?;
    Ok(without_line_end(&text).to_owned())
}

fn first_line() -> Result<String, String> {
    let mut line = String::new();
    stdin().lock().take(LARGEST).read_line(&mut line).map_err(|error| format!("standard input: {error}"))?;
    Ok(without_line_end(&line).to_owned())
}

fn without_line_end(text: &str) -> &str {
    let text = text.strip_suffix('\n').unwrap_or(text);
    text.strip_suffix('\r').unwrap_or(text)
}

/// Asks twice on the terminal, showing nothing of what is typed.
fn ask() -> Result<String, String> {
    let first = ask_once("Password: ")?;
    if ask_once("Once more: ")? == first { Ok(first) } else { Err("the two passwords differ".into()) }
}

fn ask_once(prompt: &str) -> Result<String, String> {
    use std::io::Write as _;
    let terminal = |error: rustix::io::Errno| format!("the terminal: {error}");
    print!("{prompt}");
    stdout().flush().map_err(|error| error.to_string())?;
    let before = tcgetattr(stdin()).map_err(terminal)?;
    let mut silent = before.clone();
    silent.local_modes.remove(LocalModes::ECHO);
    tcsetattr(stdin(), OptionalActions::Flush, &silent).map_err(terminal)?;
    let line = first_line();
    tcsetattr(stdin(), OptionalActions::Flush, &before).map_err(terminal)?;
    println!();
    line
}
