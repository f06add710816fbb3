//! The few operations of the Internet Printing Protocol that it takes to print (RFC 8010, RFC 8011).

use std::io::ErrorKind;
use std::time::Duration;

use ipp::attribute::IppAttribute;
use ipp::model::{DelimiterTag, IppVersion, JobState, Operation, StatusCode};
use ipp::parser::{IppParseError, IppParser};
use ipp::reader::IppReader;
use ipp::request::IppRequestResponse;
use ipp::value::IppValue;
use tubtrail_operations::labels::LabelSize;

use crate::trust::tls;

/// How long a printer may take to let itself be reached.
const REACHED_WITHIN: Duration = Duration::from_secs(4);
/// How long a printer may take to answer.
const ANSWERED_WITHIN: Duration = Duration::from_secs(20);
/// Longest answer of a printer that is read, in bytes.
const LONGEST_ANSWER: u64 = 1 << 20;
/// In whose name it is printed.
const USER: &str = "tubtrail";

/// Why there is no answer to go by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// It was not reached, and so has heard nothing.
    Away(String),
    /// The connection broke, or what came back cannot be read: it may have heard all of it.
    Broken(String),
    /// It answers, but not now.
    Busy(String),
    /// It answers, and will not.
    Refused(String),
    /// It answers that it knows nothing of the kind.
    NotKnown,
}

impl Trouble {
    /// In words.
    pub fn said(&self) -> String {
        match self {
            Self::Away(why) => format!("the printer cannot be reached: {why}"),
            Self::Broken(why) => format!("the connection to the printer broke: {why}"),
            Self::Busy(why) => format!("the printer says to wait: {why}"),
            Self::Refused(why) => format!("the printer refuses: {why}"),
            Self::NotKnown => "the printer does not know of it".to_owned(),
        }
    }
}

type Answered<T> = Result<T, Trouble>;

/// A printer that can be spoken to.
pub struct Ipp {
    agent: ureq::Agent,
    url: String,
    uri: ureq::http::Uri,
}

/// What a printer says of itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Abilities {
    /// The media types it takes.
    pub formats: Vec<String>,
    /// Most copies of one document.
    pub most_copies: Option<i32>,
    /// It can be told the size of the label.
    pub takes_size: bool,
    /// It can be told not to scale.
    pub takes_unscaled: bool,
    /// Why it takes nothing now.
    pub not_now: Option<String>,
}

/// What became of a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Became {
    /// It is done.
    Done,
    /// It is to come, or being printed.
    UnderWay,
    /// It stopped, in words.
    Stopped(String),
    /// It will not be printed, in words.
    Failed(String),
}

/// A document for a printer.
pub struct Document<'a> {
    /// What the job is called there.
    pub name: &'a str,
    /// Its media type.
    pub format: &'a str,
    /// Its bytes.
    pub bytes: &'a [u8],
    /// How many alike.
    pub copies: i32,
    /// The size of its page.
    pub size: LabelSize,
}

impl Ipp {
    /// One that listens at an address of a printer.
    ///
    /// # Errors
    /// If it is no address.
    pub fn at(address: &str, any_certificate: bool) -> Answered<Self> {
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .max_redirects(0)
            .proxy(None)
            .tls_config(tls(any_certificate))
            .timeout_connect(Some(REACHED_WITHIN))
            .timeout_global(Some(ANSWERED_WITHIN))
            .build();
        let no_address = |error: &dyn std::fmt::Display| Trouble::Refused(format!("{address} is no address: {error}"));
        let uri = address.parse().map_err(|error| no_address(&error))?;
        let url = over_http(address).ok_or_else(|| no_address(&"its scheme"))?;
        Ok(Self { agent: config.into(), url, uri })
    }

    /// What it can do, and whether it would now.
    pub fn abilities(&self) -> Answered<Abilities> {
        let mut request = self.request(Operation::GetPrinterAttributes)?;
        let wanted = [
            "document-format-supported",
            "copies-supported",
            "media-size-supported",
            "print-scaling-supported",
            "printer-is-accepting-jobs",
            "printer-state",
            "printer-state-reasons",
            "printer-state-message",
        ];
        add(&mut request, DelimiterTag::OperationAttributes, "requested-attributes", keywords(&wanted)?)?;
        Ok(abilities(&self.send(&request, &[])?))
    }

    /// Gives it a document; answers its number for the job.
    pub fn print(&self, document: &Document<'_>, abilities: &Abilities) -> Answered<i32> {
        let mut request = self.request(Operation::PrintJob)?;
        let operation = DelimiterTag::OperationAttributes;
        add(
            &mut request,
            operation,
            "requesting-user-name",
            IppValue::new_name_without_language(USER).map_err(unsaid)?,
        )?;
        let name = IppValue::new_name_without_language(document.name).map_err(unsaid)?;
        add(&mut request, operation, "job-name", name)?;
        add(&mut request, operation, "ipp-attribute-fidelity", IppValue::new_boolean(false))?;
        let format = IppValue::new_mime_media_type(document.format).map_err(unsaid)?;
        add(&mut request, operation, "document-format", format)?;
        let job = DelimiterTag::JobAttributes;
        if document.copies > 1 {
            add(&mut request, job, "copies", IppValue::new_integer(document.copies))?;
        }
        if abilities.takes_size {
            add(&mut request, job, "media-col", media(document.size)?)?;
        }
        if abilities.takes_unscaled {
            add(&mut request, job, "print-scaling", IppValue::new_keyword("none").map_err(unsaid)?)?;
        }
        let answer = self.send(&request, document.bytes)?;
        let number = attribute(&answer, DelimiterTag::JobAttributes, "job-id").and_then(|value| value.as_integer());
        number.copied().ok_or_else(|| Trouble::Broken("it took the job and gave no number for it".to_owned()))
    }

    /// What became of a job.
    pub fn became(&self, number: i32) -> Answered<Became> {
        let mut request = self.request(Operation::GetJobAttributes)?;
        let operation = DelimiterTag::OperationAttributes;
        add(&mut request, operation, "job-id", IppValue::new_integer(number))?;
        add(
            &mut request,
            operation,
            "requesting-user-name",
            IppValue::new_name_without_language(USER).map_err(unsaid)?,
        )?;
        let wanted = ["job-state", "job-state-reasons", "job-state-message"];
        add(&mut request, operation, "requested-attributes", keywords(&wanted)?)?;
        let answer = self.send(&request, &[])?;
        let group = answer.attributes().first_of(DelimiterTag::JobAttributes);
        let state = group.and_then(|group| group.get("job-state")).and_then(|state| state.value().as_enum().copied());
        let is = |wanted: JobState| state == Some(wanted as i32);
        let why = || reasons(&answer, DelimiterTag::JobAttributes, "job-state");
        Ok(if is(JobState::Completed) {
            Became::Done
        } else if is(JobState::Canceled) || is(JobState::Aborted) {
            Became::Failed(why())
        } else if is(JobState::ProcessingStopped) || is(JobState::PendingHeld) {
            Became::Stopped(why())
        } else if is(JobState::Pending) || is(JobState::Processing) {
            Became::UnderWay
        } else {
            return Err(Trouble::Broken("it does not say what became of the job".to_owned()));
        })
    }

    /// Its number for a job of a name, to come or done; none, if it knows of none.
    pub fn find(&self, name: &str) -> Answered<Option<i32>> {
        for which in ["not-completed", "completed"] {
            let mut request = self.request(Operation::GetJobs)?;
            let operation = DelimiterTag::OperationAttributes;
            let user = IppValue::new_name_without_language(USER).map_err(unsaid)?;
            add(&mut request, operation, "requesting-user-name", user)?;
            add(&mut request, operation, "which-jobs", IppValue::new_keyword(which).map_err(unsaid)?)?;
            add(&mut request, operation, "requested-attributes", keywords(&["job-id", "job-name"])?)?;
            let answer = self.send(&request, &[])?;
            for job in answer.attributes().groups_of(DelimiterTag::JobAttributes) {
                let called = job.get("job-name").map(|name| words(name.value()));
                let number = job.get("job-id").and_then(|number| number.value().as_integer().copied());
                if called.as_deref() == Some(name) && number.is_some() {
                    return Ok(number);
                }
            }
        }
        Ok(None)
    }

    fn request(&self, operation: Operation) -> Answered<IppRequestResponse> {
        IppRequestResponse::new(IppVersion::v1_1(), operation, Some(self.uri.clone())).map_err(unsaid)
    }

    fn send(&self, request: &IppRequestResponse, document: &[u8]) -> Answered<IppRequestResponse> {
        let mut body = request.to_bytes().to_vec();
        body.extend_from_slice(document);
        let sent = self.agent.post(&self.url).header("Content-Type", "application/ipp").send(&body[..]);
        let mut response = sent.map_err(|error| unanswered(&error))?;
        match response.status().as_u16() {
            200 => (),
            status @ (500..) => return Err(Trouble::Busy(format!("HTTP {status}"))),
            status => return Err(Trouble::Refused(format!("HTTP {status}"))),
        }
        let read = response.body_mut().with_config().limit(LONGEST_ANSWER).read_to_vec();
        let read = read.map_err(|error| Trouble::Broken(error.to_string()))?;
        let answer = IppParser::new(IppReader::new(std::io::Cursor::new(read))).parse();
        understood(answer.map_err(|error| Trouble::Broken(format!("its answer cannot be read: {error}")))?)
    }
}

/// Where a printer listens, as an address of the web: 631 is the port of IPP (RFC 8010, 8.2; RFC 7472 for `ipps`).
fn over_http(address: &str) -> Option<String> {
    let (scheme, rest) = address.split_once("://")?;
    let secure = match scheme {
        "http" | "https" => return Some(address.to_owned()),
        "ipp" => "http",
        "ipps" => "https",
        _ => return None,
    };
    let (host, path) = rest.split_at(rest.find('/').unwrap_or(rest.len()));
    let has_port = host.rsplit_once(']').map_or(host, |(_, port)| port).contains(':');
    let port = if has_port { "" } else { ":631" };
    let path = if path.is_empty() { "/" } else { path };
    Some(format!("{secure}://{host}{port}{path}"))
}

fn unanswered(error: &ureq::Error) -> Trouble {
    let said = error.to_string();
    match error {
        // Before a word of it was said.
        ureq::Error::HostNotFound
        | ureq::Error::ConnectionFailed
        | ureq::Error::Timeout(ureq::Timeout::Connect | ureq::Timeout::Resolve)
        | ureq::Error::Tls(_)
        | ureq::Error::Rustls(_) => Trouble::Away(said),
        ureq::Error::Io(error) => match error.kind() {
            ErrorKind::ConnectionRefused | ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable => {
                Trouble::Away(said)
            }
            _ => Trouble::Broken(said),
        },
        _ => Trouble::Broken(said),
    }
}

/// An answer that says yes.
fn understood(answer: IppRequestResponse) -> Answered<IppRequestResponse> {
    let status = answer.header().status_code();
    if status.is_success() {
        return Ok(answer);
    }
    let message = attribute(&answer, DelimiterTag::OperationAttributes, "status-message").map(words);
    let said = message.unwrap_or_else(|| status.to_string());
    Err(match status {
        StatusCode::ClientErrorNotFound | StatusCode::ClientErrorGone => Trouble::NotKnown,
        StatusCode::ServerErrorBusy
        | StatusCode::ServerErrorServiceUnavailable
        | StatusCode::ServerErrorTemporaryError
        | StatusCode::ServerErrorNotAcceptingJobs
        | StatusCode::ServerErrorDeviceError
        | StatusCode::ServerErrorInternalError
        | StatusCode::ClientErrorTimeout => Trouble::Busy(said),
        _ => Trouble::Refused(said),
    })
}

fn abilities(answer: &IppRequestResponse) -> Abilities {
    let of_printer = |name: &str| attribute(answer, DelimiterTag::PrinterAttributes, name);
    let formats = of_printer("document-format-supported").into_iter().flatten().map(words).collect();
    let most_copies = of_printer("copies-supported").and_then(|value| match value {
        IppValue::RangeOfInteger { max, .. } => Some(*max),
        IppValue::Integer(most) => Some(*most),
        _ => None,
    });
    let scalings = of_printer("print-scaling-supported").into_iter().flatten().map(words);
    let is_stopped = of_printer("printer-state").and_then(|state| state.as_enum().copied())
        == Some(ipp::model::PrinterState::Stopped as i32);
    let is_closed = of_printer("printer-is-accepting-jobs").is_some_and(|value| value.as_boolean() == Some(&false));
    let not_now = (is_stopped || is_closed).then(|| reasons(answer, DelimiterTag::PrinterAttributes, "printer-state"));
    Abilities {
        formats,
        most_copies,
        takes_size: false,
        takes_unscaled: scalings.into_iter().any(|scaling| scaling == "none"),
        not_now,
    }
    .with_sizes(of_printer("media-size-supported"))
}

impl Abilities {
    fn with_sizes(self, sizes: Option<&IppValue>) -> Self {
        let takes_size = LabelSize::ALL.into_iter().all(|size| {
            let (width, height) = hundredths(size);
            let each = sizes.map_or(&[][..], |sizes| match sizes {
                IppValue::Array(all) => all.as_slice(),
                one => std::slice::from_ref(one),
            });
            each.iter().filter_map(IppValue::as_collection).any(|size| {
                let takes = |name: &str, wanted: i32| {
                    size.iter().find(|(member, _)| member.as_str() == name).is_some_and(|(_, value)| match value {
                        IppValue::Integer(exact) => *exact == wanted,
                        IppValue::RangeOfInteger { min, max } => (*min..=*max).contains(&wanted),
                        _ => false,
                    })
                };
                takes("x-dimension", width) && takes("y-dimension", height)
            })
        });
        Self { takes_size, ..self }
    }
}

/// Width and height as printers count them, in hundredths of a millimetre.
fn hundredths(size: LabelSize) -> (i32, i32) {
    let (width, height) = size.millimetres();
    (i32::from(width) * 100, i32::from(height) * 100)
}

fn media(size: LabelSize) -> Answered<IppValue> {
    let (width, height) = hundredths(size);
    let collection = |members: Vec<(&str, IppValue)>| -> Answered<IppValue> {
        let members = members.into_iter().map(|(name, value)| Ok((name.try_into().map_err(unsaid)?, value)));
        Ok(IppValue::Collection(members.collect::<Answered<_>>()?))
    };
    let size = vec![("x-dimension", IppValue::new_integer(width)), ("y-dimension", IppValue::new_integer(height))];
    collection(vec![("media-size", collection(size)?)])
}

fn add(request: &mut IppRequestResponse, group: DelimiterTag, name: &str, value: IppValue) -> Answered<()> {
    request.attributes_mut().add(group, IppAttribute::with_name(name, value).map_err(unsaid)?);
    Ok(())
}

fn keywords(words: &[&str]) -> Answered<IppValue> {
    let each = words.iter().map(|word| IppValue::new_keyword(*word).map_err(unsaid));
    Ok(IppValue::Array(each.collect::<Answered<_>>()?))
}

/// Something that does not go into a request; nothing was sent.
#[expect(clippy::needless_pass_by_value, reason = "it stands where a result's error is turned into another")]
fn unsaid(error: IppParseError) -> Trouble {
    Trouble::Refused(format!("it cannot be asked: {error}"))
}

fn attribute<'a>(answer: &'a IppRequestResponse, group: DelimiterTag, name: &str) -> Option<&'a IppValue> {
    answer.attributes().first_of(group).and_then(|group| group.get(name)).map(IppAttribute::value)
}

/// What stands in a text, a name, a keyword or a media type.
fn words(value: &IppValue) -> String {
    value.to_string()
}

/// The reasons of a state, and what else it says of them.
fn reasons(answer: &IppRequestResponse, group: DelimiterTag, state: &str) -> String {
    let reasons = attribute(answer, group, &format!("{state}-reasons")).into_iter().flatten().map(words);
    let message = attribute(answer, group, &format!("{state}-message")).map(words);
    let said: Vec<String> = reasons.filter(|reason| reason != "none").chain(message).collect();
    if said.is_empty() { "it does not say why".to_owned() } else { said.join(", ") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_printer_listens_on_the_port_of_ipp_unless_it_says_another() {
        for (address, url) in [
            ("ipp://192.168.1.40/ipp/print", "http://192.168.1.40:631/ipp/print"),
            ("ipps://labels.local:8443/ipp", "https://labels.local:8443/ipp"),
            ("ipp://[fd00::1]/", "http://[fd00::1]:631/"),
            ("ipp://[fd00::1]:8631", "http://[fd00::1]:8631/"),
            ("http://labels.local/ipp", "http://labels.local/ipp"),
        ] {
            assert_eq!(over_http(address).as_deref(), Some(url));
        }
        assert_eq!(over_http("file:///dev/lp0"), None);
    }

    #[test]
    fn a_size_is_asked_for_in_hundredths_of_a_millimetre() {
        // PWG 5100.3: media-size of hundredths of millimetres.
        let range = |min, max| IppValue::new_range_of_integer(min, max);
        let sizes = |x: IppValue, y: IppValue| {
            let name = |name: &str| name.try_into().expect("a name");
            IppValue::Array(vec![IppValue::Collection([(name("x-dimension"), x), (name("y-dimension"), y)].into())])
        };
        let takes = |sizes: &IppValue| Abilities::default().with_sizes(Some(sizes)).takes_size;
        assert!(takes(&sizes(range(2000, 11_000), range(1000, 30_000))));
        assert!(!takes(&sizes(range(2000, 9_999), range(1000, 30_000))));
        assert!(!takes(&sizes(IppValue::new_integer(21_000), IppValue::new_integer(29_700))));
        assert!(!Abilities::default().with_sizes(None).takes_size);
    }
}
