//! Measures ours and others side by side; started by `tests/speed`, which says what it takes.

use std::error::Error;
use std::path::PathBuf;

use mimalloc::MiMalloc;
use tubtrail_tests::speed::{Part, Scale, run, serve_constant};

/// As in our server.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> Result<(), Box<dyn Error + Send + Sync>> {
    let mut given = std::env::args().skip(1).peekable();
    if given.next_if(|word| word == "constant").is_some() {
        let bytes = given.next().ok_or("say how many bytes")?;
        return Ok(serve_constant(bytes.parse()?)?);
    }
    let mut scale = Scale::full();
    let mut folder = PathBuf::from("target/speed");
    while let Some(word) = given.next() {
        let mut value = || given.next().ok_or_else(|| format!("{word} needs a value"));
        match word.as_str() {
            "--quick" => scale = Scale { parts: scale.parts, seed: scale.seed, ..Scale::tenth() },
            "--thousandth" => scale = Scale { parts: scale.parts, seed: scale.seed, ..Scale::thousandth() },
            "--seed" => scale.seed = value()?.parse()?,
            "--out" => folder = value()?.into(),
            "--only" => scale.parts = parts(&value()?)?,
            _ => return Err(format!("{word:?} is none of --quick --thousandth --seed --only --out").into()),
        }
    }
    let report = run(&scale, &folder)?;
    let (met, all) = report.met();
    println!("\n{met} of {all} targets met; {} and growth.svg have the rest", folder.join("figures.json").display());
    Ok(())
}

fn parts(words: &str) -> Result<Vec<Part>, String> {
    let known = || Part::ALL.map(Part::word).join(" ");
    words.split(',').map(|word| Part::named(word).ok_or_else(|| format!("{word:?} is none of {}", known()))).collect()
}
