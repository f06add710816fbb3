//! Fills an empty database with the reference world, to measure on: `reference-world DATABASE [KITCHENS DAYS [SEED]]`.

use std::error::Error;
use std::time::Instant;

use tubtrail_storage::DatabaseUrl;
use tubtrail_tests::reference::{Size, fill};

fn main() -> Result<(), Box<dyn Error>> {
    let given: Vec<String> = std::env::args().skip(1).collect();
    let database = given.first().ok_or("say which database: sqlite:PATH or postgres://...")?;
    let number = |at: usize, usual: u32| given.get(at).map_or(Ok(usual), |text| text.parse());
    let size = Size { kitchens: number(1, Size::FULL.kitchens)?, days: number(2, Size::FULL.days)? };
    let seed = number(3, 1)?;
    let began = Instant::now();
    fill(&DatabaseUrl::parse(database)?, size, seed.into())?;
    println!("{} kitchens over {} days, seed {seed}: {:.1} s", size.kitchens, size.days, began.elapsed().as_secs_f64());
    Ok(())
}
