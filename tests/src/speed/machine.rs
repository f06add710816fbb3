//! On what it was measured.

use std::fs::read_to_string;

use serde::Serialize;

/// A machine, as far as it matters.
#[derive(Clone, Debug, Serialize)]
pub struct Machine {
    /// The processor's name.
    pub processor: String,
    /// Threads that run at once.
    pub cores: usize,
    /// Memory, in gigabytes.
    pub memory_gb: f64,
    /// How many waited to run when it began: on a busy machine only the ratios say anything.
    pub load: String,
}

/// This machine, as far as Linux tells.
pub fn describe() -> Machine {
    let value = |file: &str, name: &str| {
        let text = read_to_string(file).unwrap_or_default();
        let line = text.lines().find(|line| line.starts_with(name)).unwrap_or_default();
        line.split_once(':').map(|(_, value)| value.trim().to_owned()).unwrap_or_default()
    };
    let kilobytes = value("/proc/meminfo", "MemTotal").trim_end_matches(" kB").parse::<f64>().unwrap_or_default();
    let load = read_to_string("/proc/loadavg").unwrap_or_default();
    Machine {
        processor: value("/proc/cpuinfo", "model name"),
        cores: std::thread::available_parallelism().map_or(0, std::num::NonZero::get),
        memory_gb: kilobytes / 1_048_576.0,
        load: load.split(' ').next().unwrap_or_default().to_owned(),
    }
}
