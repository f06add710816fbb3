//! The plot of how cost grows: both axes by powers of ten, so that what does not grow is a level line.

use std::fmt::Write as _;

use serde::Serialize;

/// Cost by number of lots, one row of points for each kind of question.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Growth {
    /// In the order in which they came up.
    pub series: Vec<Series>,
}

/// One kind of question.
#[derive(Clone, Debug, Serialize)]
pub struct Series {
    /// What is asked.
    pub name: String,
    /// Lots in the world, and microseconds of an answer.
    pub points: Vec<(usize, f64)>,
}

impl Growth {
    /// Adds a point.
    pub fn add(&mut self, name: &str, lots: usize, microseconds: f64) {
        let at = self.series.iter().position(|series| series.name == name).unwrap_or_else(|| {
            self.series.push(Series { name: name.to_owned(), points: Vec::new() });
            self.series.len() - 1
        });
        let points = &mut self.series[at].points;
        points.push((lots, microseconds));
        points.sort_by_key(|(lots, _)| *lots);
    }

    /// The points of the smallest and the largest world.
    pub fn ends(&self, name: &str) -> Option<((usize, f64), (usize, f64))> {
        let series = self.series.iter().find(|series| series.name == name)?;
        Some((*series.points.first()?, *series.points.last()?))
    }
}

const WIDTH: f64 = 880.0;
const HEIGHT: f64 = 520.0;
/// Around the field: left, right (where the names of the lines stand), top, bottom.
const AROUND: [f64; 4] = [90.0, 220.0, 60.0, 70.0];
/// Ink of the lines, told apart by people who see few colours, and by their marks.
const INKS: [&str; 5] = ["#7a1f3d", "#1d6f6a", "#b3661a", "#34508f", "#5b5b5b"];

/// The plot as SVG.
pub fn draw(growth: &Growth) -> String {
    let points = || growth.series.iter().flat_map(|series| &series.points);
    let across = Axis::over(points().map(|(lots, _)| number(*lots)), AROUND[0], WIDTH - AROUND[1]);
    let up = Axis::over(points().map(|(_, microseconds)| *microseconds), HEIGHT - AROUND[3], AROUND[2]);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" font-family=\"sans-serif\" \
         font-size=\"14\" fill=\"#2b2430\">\n<title>What an answer costs as the number of lots grows</title>\n\
         <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"#fffaf3\"/>\n\
         <text x=\"{}\" y=\"32\" font-size=\"19\">What an answer costs as the number of lots grows</text>\n",
        AROUND[0]
    );
    // Writing to a string cannot fail.
    for power in across.powers() {
        let x = across.place(10_f64.powi(power));
        let _ = writeln!(
            svg,
            "<path d=\"M{x:.1} {} V{}\" stroke=\"#e4d9cc\"/><text x=\"{x:.1}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            HEIGHT - AROUND[3],
            AROUND[2],
            HEIGHT - AROUND[3] + 22.0,
            lots_in_words(power)
        );
    }
    for power in up.powers() {
        let y = up.place(10_f64.powi(power));
        let _ = writeln!(
            svg,
            "<path d=\"M{} {y:.1} H{}\" stroke=\"#e4d9cc\"/><text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            AROUND[0],
            WIDTH - AROUND[1],
            AROUND[0] - 10.0,
            y + 5.0,
            time_in_words(power)
        );
    }
    let middle = f64::midpoint(AROUND[0], WIDTH - AROUND[1]);
    let _ =
        writeln!(svg, "<text x=\"{middle}\" y=\"{}\" text-anchor=\"middle\">lots in the world</text>", HEIGHT - 18.0);
    for (series, ink) in growth.series.iter().zip(INKS.iter().cycle()) {
        line(&mut svg, series, ink, &across, &up);
    }
    svg + "</svg>\n"
}

fn line(svg: &mut String, series: &Series, ink: &str, across: &Axis, up: &Axis) {
    let places: Vec<(f64, f64)> =
        series.points.iter().map(|(lots, cost)| (across.place(number(*lots)), up.place(*cost))).collect();
    let path: Vec<String> = places.iter().map(|(x, y)| format!("{x:.1} {y:.1}")).collect();
    let _ = writeln!(
        svg,
        "<path d=\"M{}\" fill=\"none\" stroke=\"{ink}\" stroke-width=\"2.5\" stroke-linejoin=\"round\"/>",
        path.join(" L")
    );
    for (x, y) in &places {
        let _ = writeln!(svg, "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\" fill=\"{ink}\"/>");
    }
    if let Some((_, y)) = places.last() {
        let x = WIDTH - AROUND[1] + 12.0;
        let _ = writeln!(svg, "<text x=\"{x}\" y=\"{:.1}\" fill=\"{ink}\">{}</text>", y + 5.0, series.name);
    }
}

/// An axis by powers of ten.
struct Axis {
    lowest: i32,
    highest: i32,
    from: f64,
    to: f64,
}

impl Axis {
    /// Whole powers of ten around all values, from here to there on the paper.
    fn over(values: impl Iterator<Item = f64> + Clone, from: f64, to: f64) -> Self {
        let logs = values.filter(|value| *value > 0.0).map(f64::log10);
        let least = logs.clone().fold(f64::INFINITY, f64::min);
        let most = logs.fold(f64::NEG_INFINITY, f64::max);
        if least > most {
            return Self { lowest: 0, highest: 1, from, to };
        }
        let (lowest, highest) = (whole(least.floor()), whole(most.ceil()));
        Self { lowest, highest: highest.max(lowest + 1), from, to }
    }

    fn powers(&self) -> impl Iterator<Item = i32> {
        self.lowest..=self.highest
    }

    fn place(&self, value: f64) -> f64 {
        let part = (value.log10() - f64::from(self.lowest)) / f64::from(self.highest - self.lowest);
        self.from + part * (self.to - self.from)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a power of ten of a cost or a count")]
fn whole(log: f64) -> i32 {
    log as i32
}

#[expect(clippy::cast_precision_loss, reason = "fewer than 2^52 lots")]
fn number(lots: usize) -> f64 {
    lots as f64
}

fn lots_in_words(power: i32) -> String {
    match power {
        6.. => format!("{} million", 10_i64.pow(power.unsigned_abs() - 6)),
        3..6 => format!("{} thousand", 10_i64.pow(power.unsigned_abs() - 3)),
        _ => format!("{}", 10_f64.powi(power)),
    }
}

fn time_in_words(power: i32) -> String {
    match power {
        6.. => format!("{} s", 10_i64.pow(power.unsigned_abs() - 6)),
        3..6 => format!("{} ms", 10_i64.pow(power.unsigned_abs() - 3)),
        _ => format!("{} \u{b5}s", 10_f64.powi(power)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cost_that_does_not_grow_is_a_level_line() {
        let mut growth = Growth::default();
        growth.add("a trace", 1_000_000, 2.0);
        growth.add("a trace", 10_000, 2.0);
        let svg = draw(&growth);
        let path = svg.lines().find(|line| line.contains("stroke-width")).unwrap_or_default();
        let figures: Vec<&str> = path.split(['M', ' ', 'L', '"']).filter(|word| word.parse::<f64>().is_ok()).collect();
        // From 10 to the 4th at the left edge to 10 to the 6th at the right one.
        assert_eq!((figures[0], figures[2]), ("90.0", "660.0"), "{path}");
        assert_eq!(figures[1], figures[3], "{path}");
        assert_eq!(growth.ends("a trace"), Some(((10_000, 2.0), (1_000_000, 2.0))));
    }
}
