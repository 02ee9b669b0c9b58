//! Progress on a terminal's standard error, and what stages cost.

use std::io::{IsTerminal as _, Write as _};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use base::Task;
use report::StageView;

/// Pause between two showings of progress.
const PAUSE: Duration = Duration::from_millis(120);

/// The task that all work reports to: shows the stage under way on a terminal and keeps the
/// memory that stages took.
pub struct Meter {
    task: Task,
    peaks: Arc<Mutex<Peaks>>,
    shown: bool,
}

/// Most memory in use by the end of each stage, megabytes.
#[derive(Default)]
struct Peaks {
    stage: String,
    ended: Vec<(String, f64)>,
}

impl Peaks {
    /// Notes which stage is under way.
    fn enter(&mut self, stage: &str, peak_mb: impl Fn() -> f64) {
        if stage != self.stage {
            let before = std::mem::replace(&mut self.stage, stage.to_owned());
            self.ended.retain(|(name, _)| *name != before);
            self.ended.push((before, peak_mb()));
        }
    }

    /// The last that was noted of a stage.
    fn of(&self, stage: &str) -> Option<f64> {
        let found = self.ended.iter().find(|(name, _)| name == stage);
        found.map(|(_, peak)| *peak)
    }
}

impl Meter {
    /// A meter that shows progress unless told to be quiet or not on a terminal.
    pub fn new(quiet: bool) -> Self {
        let shown = !quiet && std::io::stderr().is_terminal();
        let peaks = Arc::new(Mutex::new(Peaks::default()));
        let last = Mutex::new(None::<Instant>);
        let kept = Arc::clone(&peaks);
        let task = Task::with_progress(move |stage, share| {
            if let Ok(mut peaks) = kept.lock() {
                peaks.enter(stage, peak_mb);
            }
            if !shown {
                return;
            }
            let Ok(mut last) = last.lock() else { return };
            if last.is_none_or(|at| at.elapsed() > PAUSE) {
                *last = Some(Instant::now());
                // A line that can't be written is no reason to stop the work.
                let percent = 100.0 * share;
                let _ = write!(std::io::stderr(), "\r\x1b[K{stage} {percent:.0} %");
                let _ = std::io::stderr().flush();
            }
        });
        Self { task, peaks, shown }
    }

    /// What work reports to.
    pub fn task(&self) -> &Task {
        &self.task
    }

    /// Puts something else where progress is shown.
    pub fn show(&self, text: &str) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r\x1b[K{text}");
            let _ = std::io::stderr().flush();
        }
    }

    /// Takes the progress line away.
    pub fn clear_line(&self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }

    /// What a stage cost that took `seconds` and has ended.
    pub fn stage(&self, name: &str, seconds: f64) -> StageView {
        let noted = self.peaks.lock().ok().and_then(|peaks| peaks.of(name));
        StageView {
            name: name.to_owned(),
            seconds,
            peak_mb: noted.unwrap_or_else(peak_mb),
        }
    }
}

/// Times one stage after the other.
pub struct Lap<'a> {
    meter: &'a Meter,
    from: Instant,
}

impl<'a> Lap<'a> {
    /// Starts now.
    pub fn new(meter: &'a Meter) -> Self {
        Self {
            meter,
            from: Instant::now(),
        }
    }

    /// The stage that ends now; the next one starts.
    pub fn end(&mut self, name: &str) -> StageView {
        let seconds = self.from.elapsed().as_secs_f64();
        self.from = Instant::now();
        StageView {
            peak_mb: peak_mb(),
            ..self.meter.stage(name, seconds)
        }
    }

    /// Forgets the time since the last stage ended: others have measured it.
    pub fn restart(&mut self) {
        self.from = Instant::now();
    }
}

/// Most memory that this process has used so far, megabytes (10⁶ bytes); 0 where the system
/// doesn't tell.
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    peak_in(&status).unwrap_or(0.0)
}

/// The peak in Linux' `/proc/self/status` (man page proc_pid_status(5), from memory).
fn peak_in(status: &str) -> Option<f64> {
    let line = status.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_peak_is_read_in_kibibytes() {
        let status = "Name:\tloopwright\nVmPeak:\t  9 kB\nVmHWM:\t  250000 kB\n";
        assert_eq!(peak_in(status), Some(256.0));
        assert_eq!(peak_in("VmHWM:\tlots"), None);
    }

    #[test]
    fn a_stage_has_the_peak_of_its_last_end() {
        let mut peaks = Peaks::default();
        for (stage, mb) in [
            ("guides", 1.0),
            ("work", 2.0),
            ("guides", 3.0),
            ("work", 4.0),
        ] {
            peaks.enter(stage, || mb);
        }
        assert_eq!(
            (peaks.of("guides"), peaks.of("work")),
            (Some(4.0), Some(3.0))
        );
        assert_eq!(peaks.of("field"), None);
    }
}
