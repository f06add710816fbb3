//! Files that people attached, on their way out: kept as they are, and nothing in them may run.

use std::fmt::Write as _;

use actix_web::HttpResponse;
use actix_web::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use tubtrail_operations::documents::DeliveryDocument;

/// Even if a browser were to open it: it loads nothing, runs nothing and is of no origin.
const NOTHING_RUNS: &str = "default-src 'none'; sandbox; frame-ancestors 'none'";

/// Answers with a file.
pub fn answer(document: &DeliveryDocument, file: Vec<u8>) -> HttpResponse {
    HttpResponse::Ok()
        .insert_header((CONTENT_TYPE, document.media_type.as_str()))
        .insert_header((CONTENT_DISPOSITION, disposition(&document.name)))
        .insert_header((CONTENT_SECURITY_POLICY, NOTHING_RUNS))
        .body(file)
}

/// To be saved under its name: in ASCII for older programs, and in full (RFC 6266, RFC 8187).
fn disposition(name: &str) -> String {
    let plain = |one: char| if one.is_ascii_alphanumeric() || "-_. ".contains(one) { one } else { '_' };
    let mut text =
        format!("attachment; filename=\"{}\"; filename*=UTF-8''", name.chars().map(plain).collect::<String>());
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.".contains(&byte) {
            text.push(char::from(byte));
        } else {
            // Writing to a text cannot fail.
            let _ = write!(text, "%{byte:02X}");
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::disposition;

    /// Seven characters are neither letter nor digit of ASCII nor one of `-_. ` before the X: the apostrophe and the é before
    /// the t; the é, the quotation mark, the semicolon, CR and LF after it. The colon is the eighth.
    #[test]
    fn a_name_cannot_end_the_header() {
        let said = disposition("Bon d'été\";\r\nX: y.jpg");
        assert_eq!(
            said,
            "attachment; filename=\"Bon d__t_____X_ y.jpg\"; filename*=UTF-8''Bon%20d%27%C3%A9t%C3%A9%22%3B%0D%0AX%3A%20y.jpg"
        );
    }
}
