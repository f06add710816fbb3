//! Reads back what is handed over on paper or as a spreadsheet, with programs and libraries that are not ours.

use std::io::{Cursor, Write as _};
use std::process::{Command, Stdio};

use calamine::{Reader as _, Xlsx};

/// The text of a PDF, without blanks, as pdftotext of poppler-utils reads it.
pub fn pdf_text(pdf: &[u8]) -> String {
    let mut child = Command::new("pdftotext")
        .args(["-raw", "-", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("pdftotext is needed, of the Debian package poppler-utils: {error}"));
    // It reads all before it prints.
    child.stdin.take().expect("its input").write_all(pdf).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    let complaints = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && complaints.is_empty(), "pdftotext: {complaints}");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    text.chars().filter(|character| !character.is_whitespace()).collect()
}

/// The rows of a sheet as text, as calamine reads it.
pub fn sheet(xlsx: &[u8], name: &str) -> Vec<Vec<String>> {
    let mut book = Xlsx::new(Cursor::new(xlsx.to_vec())).expect("a spreadsheet");
    let range = book.worksheet_range(name).unwrap_or_else(|error| panic!("{name}: {error}: {:?}", book.sheet_names()));
    range.rows().map(|row| row.iter().map(ToString::to_string).collect()).collect()
}
