//! Programs that read PDFs: those of poppler-utils.

use std::io::Write as _;
use std::process::{Command, Stdio};

/// What a program of poppler-utils prints about a PDF.
pub fn read_pdf(program: &str, options: &[&str], pdf: &[u8]) -> String {
    let mut child = Command::new(program)
        .args(options)
        .arg("-")
        .args(if program == "pdftotext" { vec!["-"] } else { Vec::new() })
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{program} is needed, of the Debian package poppler-utils: {error}"));
    // It reads all before it prints.
    child.stdin.take().expect("its input").write_all(pdf).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && complaints.is_empty(), "{program}: {complaints}");
    String::from_utf8(output.stdout).expect("UTF-8")
}

/// The text of a PDF in the order it was written, without blanks.
pub fn squeezed_text(pdf: &[u8]) -> String {
    squeezed(&read_pdf("pdftotext", &["-raw"], pdf))
}

/// A text without blanks.
pub fn squeezed(text: &str) -> String {
    text.chars().filter(|character| !character.is_whitespace()).collect()
}

/// The text of a PDF as it stands on the page.
pub fn laid_out(pdf: &[u8]) -> String {
    read_pdf("pdftotext", &["-layout"], pdf)
}

/// How many pages a PDF has.
pub fn pages(pdf: &[u8]) -> usize {
    let info = read_pdf("pdfinfo", &[], pdf);
    let line = info.lines().find_map(|line| line.strip_prefix("Pages:")).expect("a number of pages");
    line.trim().parse().expect("a number")
}
