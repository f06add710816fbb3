//! Files by their bytes, written out by hand from the formats' own descriptions.

use tubtrail_domain::papers::{LARGEST_BYTES, Paper, PaperError, PaperKind};

/// W3C PNG, 11.2.1: eight bytes of signature, IHDR with width and height, big end first.
fn png(width: u32, height: u32) -> Vec<u8> {
    let mut file = b"\x89PNG\r\n\x1a\n\0\0\0\x0DIHDR".to_vec();
    file.extend(width.to_be_bytes());
    file.extend(height.to_be_bytes());
    file.extend([8, 2, 0, 0, 0, 0, 0, 0, 0]);
    file.extend(b"\0\0\0\0IEND\xAE\x42\x60\x82");
    file
}

/// ITU-T T.81, B.2.2: SOI, then SOF0 with its length, precision, height, width; here no scan follows.
fn jpeg(width: u16, height: u16) -> Vec<u8> {
    let mut file = vec![0xFF, 0xD8, 0xFF, 0xC0, 0, 11, 8];
    file.extend(height.to_be_bytes());
    file.extend(width.to_be_bytes());
    file.extend([1, 1, 0x11, 0]);
    file.extend([0xFF, 0xD9]);
    file
}

/// RFC 9649, 2.7: VP8X with width and height less one, 24 bits each, small end first.
fn webp(width: u32, height: u32) -> Vec<u8> {
    let mut chunk = b"WEBPVP8X\x0A\0\0\0\0\0\0\0".to_vec();
    chunk.extend(&(width - 1).to_le_bytes()[..3]);
    chunk.extend(&(height - 1).to_le_bytes()[..3]);
    let length = u32::try_from(chunk.len()).expect("a few bytes");
    [b"RIFF".as_slice(), &length.to_le_bytes(), &chunk].concat()
}

#[test]
fn pictures_and_papers_are_known_by_their_bytes() {
    let kept = |kind, dots| Ok(Paper { kind, dots });
    assert_eq!(Paper::of(&png(640, 480)), kept(PaperKind::Png, Some((640, 480))));
    assert_eq!(Paper::of(&jpeg(4032, 3024)), kept(PaperKind::Jpeg, Some((4032, 3024))));
    assert_eq!(Paper::of(&webp(1200, 900)), kept(PaperKind::Webp, Some((1200, 900))));
    assert_eq!(Paper::of(b"%PDF-1.7\n...\n%%EOF\n"), kept(PaperKind::Pdf, None));
    let mut with_more = jpeg(10, 10);
    with_more.extend(b"what a camera puts behind");
    assert_eq!(Paper::of(&with_more), kept(PaperKind::Jpeg, Some((10, 10))));
}

#[test]
fn what_is_none_or_cut_off_is_not_kept() {
    assert_eq!(Paper::of(b""), Err(PaperError::Empty));
    for other in [b"<svg onload='x'/>".as_slice(), b"<html>", b"GIF89a\x01\0\x01\0\0\0\0;", b"MZ", b"just a note"] {
        assert_eq!(Paper::of(other), Err(PaperError::NotKnown), "{other:?}");
    }
    for whole in [png(640, 480), jpeg(640, 480), webp(640, 480), b"%PDF-1.7\n%%EOF".to_vec()] {
        let cut = &whole[..whole.len() - 2];
        assert_eq!(Paper::of(cut), Err(PaperError::Damaged), "{cut:?}");
    }
    assert_eq!(Paper::of(&png(0, 480)), Err(PaperError::Damaged));
    assert_eq!(Paper::of(&png(30_001, 1)), Err(PaperError::TooManyDots));
    let mut large = jpeg(10, 10);
    large.resize(LARGEST_BYTES, 0);
    assert!(Paper::of(&large).is_ok(), "8 MiB are taken");
    large.push(0);
    assert_eq!(Paper::of(&large), Err(PaperError::TooLarge));
}
