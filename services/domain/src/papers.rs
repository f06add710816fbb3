//! What may be kept of a delivery as a picture or a paper: known by its bytes, never by what it is called.

use imagesize::ImageType;

use crate::saying::Saying;
use crate::{say, speaks};

/// Largest file, in bytes: a photo of a telephone has a few megabytes.
pub const LARGEST_BYTES: usize = 8 * 1024 * 1024;
/// Widest and highest picture, in dots.
const MOST_DOTS: usize = 30_000;
/// How far before its end a PDF says that it ends (ISO 32000-1, annex H, implementation note 18).
const PDF_TAIL: usize = 1024;

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PaperKind {
    /// A photo.
    Jpeg,
    /// A picture without loss.
    Png,
    /// A picture.
    Webp,
    /// A document.
    Pdf,
}

impl PaperKind {
    /// Each of them.
    pub const ALL: [Self; 4] = [Self::Jpeg, Self::Png, Self::Webp, Self::Pdf];

    /// Its media type.
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Webp => "image/webp",
            Self::Pdf => "application/pdf",
        }
    }
}

/// A file that may be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Paper {
    /// What it is.
    pub kind: PaperKind,
    /// Width and height of a picture, in dots.
    pub dots: Option<(i32, i32)>,
}

/// Why a file is not kept, in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PaperError {
    /// Nothing at all.
    Empty,
    /// More than [`LARGEST_BYTES`].
    TooLarge,
    /// None of [`PaperKind`].
    NotKnown,
    /// It begins as one, and is none.
    Damaged,
    /// A picture of more dots than any camera takes.
    TooManyDots,
}

impl PaperError {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Empty => say!("the file is empty"),
            Self::TooLarge => say!("a file has at most 8 MB: take the photo smaller"),
            Self::NotKnown => say!("this is no photo (JPEG, PNG, WebP) and no PDF"),
            Self::Damaged => say!("this file is damaged or cut off: take the photo, or save the paper, once more"),
            Self::TooManyDots => say!("a picture is at most {most} dots wide and high", most = MOST_DOTS),
        }
    }
}

speaks!(PaperError);

impl Paper {
    /// Looks at the bytes of a file.
    pub fn of(file: &[u8]) -> Result<Self, PaperError> {
        if file.is_empty() {
            return Err(PaperError::Empty);
        }
        if file.len() > LARGEST_BYTES {
            return Err(PaperError::TooLarge);
        }
        if file.starts_with(b"%PDF-") {
            return pdf(file);
        }
        let kind = match imagesize::image_type(file) {
            Ok(ImageType::Jpeg) => PaperKind::Jpeg,
            Ok(ImageType::Png) => PaperKind::Png,
            Ok(ImageType::Webp) => PaperKind::Webp,
            _ => return Err(PaperError::NotKnown),
        };
        if !ends_as(kind, file) {
            return Err(PaperError::Damaged);
        }
        let size = imagesize::blob_size(file).map_err(|_| PaperError::Damaged)?;
        let dots = |dots: usize| match dots {
            0 => Err(PaperError::Damaged),
            1..=MOST_DOTS => i32::try_from(dots).map_err(|_| PaperError::TooManyDots),
            _ => Err(PaperError::TooManyDots),
        };
        Ok(Self { kind, dots: Some((dots(size.width)?, dots(size.height)?)) })
    }
}

fn pdf(file: &[u8]) -> Result<Paper, PaperError> {
    let tail = &file[file.len().saturating_sub(PDF_TAIL)..];
    if tail.windows(5).any(|five| five == b"%%EOF") {
        return Ok(Paper { kind: PaperKind::Pdf, dots: None });
    }
    Err(PaperError::Damaged)
}

/// Whether all of it is there.
fn ends_as(kind: PaperKind, file: &[u8]) -> bool {
    match kind {
        // Cameras put their own after the end of the picture (ITU-T T.81, B.1.1.3: EOI).
        PaperKind::Jpeg => file.windows(2).any(|two| two == [0xFF, 0xD9]),
        // Its last chunk is IEND, without data (W3C PNG, 11.2.5).
        PaperKind::Png => file.ends_with(b"\0\0\0\0IEND\xAE\x42\x60\x82"),
        // RIFF says how long it is, without its own first eight bytes (RFC 9649, 2.4).
        PaperKind::Webp => {
            let said = file.get(4..8).and_then(|said| said.try_into().ok()).map(u32::from_le_bytes);
            said.and_then(|said| usize::try_from(said).ok()).is_some_and(|said| said + 8 <= file.len())
        }
        PaperKind::Pdf => true,
    }
}
