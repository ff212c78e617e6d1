//! The end of what the server said, for a message about its end.

use std::{
    fs::{self, File},
    io::{Read, Seek, SeekFrom},
    path::{Path, PathBuf},
    time::SystemTime,
};

use super::layout::Layout;

const LINES: usize = 10;

/// The last lines of what was said before the log began, then of the log.
pub(super) fn tail(layout: &Layout) -> String {
    let startup = layout.startup_log();
    let begun = fs::metadata(&startup).and_then(|found| found.modified()).unwrap_or(SystemTime::UNIX_EPOCH);
    let log = newest(&layout.log()).filter(|(changed, _)| *changed >= begun).map(|(_, path)| path);
    let lines: Vec<String> =
        [Some(startup), log].iter().flatten().flat_map(|path| last_lines(path)).collect();
    if lines.is_empty() { "(nothing)".to_owned() } else { lines.join("\n") }
}

fn newest(dir: &Path) -> Option<(SystemTime, PathBuf)> {
    let files = fs::read_dir(dir).ok()?.flatten();
    let found = files.filter_map(|file| Some((file.metadata().ok()?, file.path())));
    let plain = found.filter(|(about, _)| about.is_file());
    plain.filter_map(|(about, path)| Some((about.modified().ok()?, path))).max()
}

fn last_lines(path: &Path) -> Vec<String> {
    const ENOUGH: u64 = 8192;
    let mut bytes = Vec::new();
    if let Ok(mut file) = File::open(path) {
        let length = file.metadata().map_or(0, |found| found.len());
        let read = file.seek(SeekFrom::Start(length.saturating_sub(ENOUGH)));
        // What cannot be read is left out: the message is about something else.
        let _ = read.and_then(|_| file.read_to_end(&mut bytes));
    }
    last(&String::from_utf8_lossy(&bytes))
}

fn last(text: &str) -> Vec<String> {
    let lines: Vec<&str> = text.lines().filter(|line| !line.trim().is_empty()).collect();
    lines[lines.len().saturating_sub(LINES)..].iter().map(|line| format!("  {line}")).collect()
}

/// The last lines of what a program printed.
pub(super) fn end_of(output: &[u8]) -> String {
    last(&String::from_utf8_lossy(output)).join("\n")
}
