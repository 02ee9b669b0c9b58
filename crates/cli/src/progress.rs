//! Progress on a terminal's standard error.

use std::io::{IsTerminal, Write};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use base::Task;

/// A task that shows the stage under way, unless told to be quiet or not on a terminal.
pub fn task(quiet: bool) -> Task {
    if quiet || !std::io::stderr().is_terminal() {
        return Task::default();
    }
    let last = Mutex::new(None::<Instant>);
    Task::with_progress(move |stage, share| {
        let Ok(mut last) = last.lock() else { return };
        let due = last.is_none_or(|at| at.elapsed() > Duration::from_millis(120)) || share >= 1.0;
        if due {
            *last = Some(Instant::now());
            // A progress line that can't be written is no reason to stop the work.
            let _ = write!(std::io::stderr(), "\r\x1b[K{stage} {:3.0} %", share * 100.0);
            let _ = std::io::stderr().flush();
        }
    })
}

/// Ends the progress line.
pub fn done(quiet: bool) {
    if !quiet && std::io::stderr().is_terminal() {
        eprint!("\r\x1b[K");
    }
}

/// Most memory that this process has used so far, megabytes (10⁶ bytes); 0 where the system doesn't tell.
pub fn peak_mb() -> f64 {
    std::fs::read_to_string("/proc/self/status")
        .ok()
        .and_then(|status| {
            let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
            line.split_whitespace().nth(1)?.parse::<f64>().ok()
        })
        .map_or(0.0, |kib| kib * 1024.0 / 1e6)
}
