//! Programs that are not ours: decoders of codes, and readers of PDF. Where one is missing the test fails and says so.

use std::path::{Path, PathBuf};
use std::process::Command;

/// What a program writes to its output. It fails the test if it cannot be run, or fails.
pub fn output_of(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program)
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{program} is missing ({error}): tests/all installs it"));
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {}: {errors}", output.status);
    output.stdout
}

/// A code as zxing-cpp reads it.
#[derive(Debug, PartialEq, Eq)]
pub struct Read {
    /// The symbology identifier of ISO/IEC 15424: `]d2` for GS1 `DataMatrix`, `]Q1` for QR.
    pub symbology: String,
    /// `GS1` or `Text`.
    pub kind: String,
    pub bytes: Vec<u8>,
}

/// Every code in a picture, by zxing-cpp, in the order of their symbologies.
pub fn read_with_zxing(picture: &Path) -> Vec<Read> {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = tests.join(".work/oracles/python/bin/python");
    let script = tests.join("oracles/read_codes_with_zxing.py");
    let output = output_of(text(&python), &[text(&script), text(picture)]);
    let output = String::from_utf8(output).expect("text");
    let mut codes: Vec<Read> = output.lines().map(read_line).collect();
    codes.sort_by(|one, another| one.symbology.cmp(&another.symbology));
    codes
}

fn read_line(line: &str) -> Read {
    let [symbology, kind, hex] = line.split(' ').collect::<Vec<_>>()[..] else { panic!("{line}") };
    let digits = hex.as_bytes().chunks(2).map(|pair| std::str::from_utf8(pair).expect("digits"));
    let bytes = digits.map(|digits| u8::from_str_radix(digits, 16).expect("a byte")).collect();
    Read { symbology: symbology.to_owned(), kind: kind.to_owned(), bytes }
}

/// The `DataMatrix` in a picture, by libdmtx. `-G 29` keeps FNC1 as U+001D: the one in the first place, and separators.
pub fn read_with_dmtx(picture: &Path) -> Vec<u8> {
    output_of("dmtxread", &["--newline", "--gs1=29", "--stop-after=1", text(picture)])
}

/// The QR codes in a picture, by `ZBar`.
pub fn read_with_zbar(picture: &Path) -> Vec<u8> {
    output_of("zbarimg", &["--raw", "--quiet", "--set", "*.enable=0", "--set", "qrcode.enable=1", text(picture)])
}

/// The PDF as a picture of 300 dots in an inch.
pub fn rasterised(paper: &Path) -> PathBuf {
    let root = paper.with_extension("paper");
    output_of("pdftoppm", &["-r", "300", "-png", "-gray", "-singlefile", text(paper), text(&root)]);
    root.with_extension("paper.png")
}

pub fn text(path: &Path) -> &str {
    path.to_str().expect("a path in UTF-8")
}
