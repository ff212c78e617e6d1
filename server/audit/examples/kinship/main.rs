//! How long kinship takes over populations of many sizes, beside the plain recursion in numpy.
//!
//! ```text
//! cargo run --release -p holt-audit --example kinship [python with numpy, or -] [pairs or mixed] [animals …]
//! ```
//!
//! One thread, in seconds of the processor: what other work on the machine takes does not count. The plain recursion (`plain.py`) writes down the whole table, 800 MB for 10,000 animals, so that it
//! is not asked beyond.

#![expect(clippy::print_stdout, reason = "it is run for the table it prints")]

mod population;

use holt_audit::kinship::gene_drop::drop_genes;
use holt_audit::kinship::population::population;
use holt_audit::kinship::relationship::Relationships;
use holt_audit::kinship::{Assumption, Entry, Origin, Parent, Pedigree};
use population::Shape;
use std::io::Write;
use std::process::{Command, Stdio};

/// The most animals for which the whole table is asked for.
const PLAIN: usize = 10_000;
/// The youngest of them live.
const LIVING: usize = 10_000;

fn main() {
    let mut asked = std::env::args().skip(1);
    let python = asked.next().filter(|python| python != "-");
    let shape = if asked.next().as_deref() == Some("mixed") { Shape::Mixed } else { Shape::Pairs };
    let sizes: Vec<usize> = asked.filter_map(|text| text.parse().ok()).collect();
    let sizes = if sizes.is_empty() { vec![1_000, 10_000, 100_000, 1_000_000] } else { sizes };
    println!("{shape:?}");
    println!(
        "  animals  into order  inbreeding  mean kinship  100 drops  peak memory  numpy, whole table  ratio  with order  off by"
    );
    for animals in sizes {
        measure(shape, animals, python.as_deref());
    }
}

fn measure(shape: Shape, animals: usize, python: Option<&str>) {
    let entries = population::invented(shape, animals, 1);
    let build = || Pedigree::build(&entries, &[]);
    let Ok(pedigree) = build() else { return };
    let ordered = seconds(build);
    let copied = seconds(|| pedigree.clone());
    let inbred = seconds(|| Relationships::of(pedigree.clone(), Assumption::Unrelated)) - copied;
    let told = Relationships::of(pedigree, Assumption::Unrelated);
    let living: Vec<usize> = (animals.saturating_sub(LIVING)..animals).collect();
    let mean = seconds(|| population(&told, &living));
    let dropped = seconds(|| drop_genes(told.pedigree(), &living, 100, 1));
    let sum: f64 = (0..animals).filter_map(|animal| told.inbreeding(&animal)).map(|one| one.value).sum();
    let beside = python.filter(|_| animals <= PLAIN).and_then(|python| plain(python, &entries));
    let beside = beside.map_or_else(String::new, |(seconds, theirs)| {
        let (ratio, with_order) = (seconds / inbred, seconds / (ordered + inbred));
        let off = (sum - theirs).abs() / sum.max(1.0);
        format!("{seconds:>17.4} s  {ratio:>5.0}  {with_order:>10.0}  {off:.0e}")
    });
    println!(
        "{animals:>9}  {ordered:>8.4} s  {inbred:>8.4} s  {mean:>10.4} s  {dropped:>7.3} s  {:>11}  {beside}",
        peak_memory()
    );
}

/// Seconds of the processor for once, over as many times as take long enough to be told.
fn seconds<T>(work: impl Fn() -> T) -> f64 {
    let began = on_processor();
    let mut times = 0_u32;
    while times == 0 || on_processor() - began < 0.2 {
        std::hint::black_box(work());
        times += 1;
    }
    (on_processor() - began) / f64::from(times)
}

/// Seconds that the plain recursion takes, and the sum of the inbreeding that it finds.
fn plain(python: &str, entries: &[Entry<usize>]) -> Option<(f64, f64)> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/kinship/plain.py");
    let mut child =
        Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().ok()?;
    let mut pedigree = String::new();
    for entry in entries {
        let (sire, dam) = match &entry.origin {
            Origin::Founder => (0, 0),
            Origin::Parents { sire, dam } => (place(sire), place(dam)),
        };
        pedigree.push_str(&format!("{sire} {dam}\n"));
    }
    child.stdin.take()?.write_all(pedigree.as_bytes()).ok()?;
    let told = String::from_utf8(child.wait_with_output().ok()?.stdout).ok()?;
    let mut numbers = told.split_whitespace().filter_map(|text| text.parse().ok());
    Some((numbers.next()?, numbers.next()?))
}

const fn place(parent: &Parent<usize>) -> usize {
    match parent {
        Parent::Known(parent) => *parent + 1,
        Parent::Unknown | Parent::OneOf(_) => 0,
    }
}

/// Seconds that this thread has been on a processor.
fn on_processor() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    told.split_whitespace().next().and_then(|nanoseconds| nanoseconds.parse().ok()).unwrap_or(0.0) / 1e9
}

fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    let kb: Option<u64> = line.and_then(|line| line.trim().trim_end_matches(" kB").parse().ok());
    kb.map_or_else(String::new, |kb| format!("{} MB", kb / 1024))
}
