//! The real window, on a display of its own, driven by real events.
//!
//! Needs Xvfb, xdotool and ImageMagick's `import` (Debian: xvfb, xdotool, imagemagick); `./test` installs
//! them where it may.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]
#![cfg(target_os = "linux")]

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// Looks, a fifth of a second apart, until something must have happened.
const PATIENCE: usize = 600;

/// A process that ends with the test.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn needs(program: &str) -> Command {
    let found = Command::new("sh")
        .args(["-c", &format!("command -v {program}")])
        .output()
        .unwrap();
    assert!(
        found.status.success(),
        "{program} isn't there. Debian: apt-get install xvfb xdotool imagemagick mesa-vulkan-drivers"
    );
    Command::new(program)
}

struct Desktop {
    display: String,
    _server: Running,
}

impl Desktop {
    fn new() -> Self {
        let mut server = needs("Xvfb")
            .args([
                "-displayfd",
                "1",
                "-screen",
                "0",
                "1400x900x24",
                "-nolisten",
                "tcp",
            ])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut number = String::new();
        BufReader::new(server.stdout.take().unwrap())
            .read_line(&mut number)
            .unwrap();
        Self {
            display: format!(":{}", number.trim()),
            _server: Running(server),
        }
    }

    fn point(&self, words: &[&str]) {
        let ran = needs("xdotool")
            .args(words)
            .env("DISPLAY", &self.display)
            .output()
            .unwrap();
        assert!(
            ran.status.success(),
            "{words:?}: {}",
            String::from_utf8_lossy(&ran.stderr)
        );
        // Events of a hand have time between them.
        std::thread::sleep(Duration::from_millis(60));
    }
}

fn until(what: &str, mut happened: impl FnMut() -> bool) {
    for _ in 0..PATIENCE {
        if happened() {
            return;
        }
        std::thread::sleep(Duration::from_millis(200));
    }
    panic!("{what} didn't happen");
}

fn coat(folder: &Path) -> PathBuf {
    std::fs::create_dir_all(folder).unwrap();
    let options = demo::DemoOptions {
        triangles: 30_000,
        ..demo::DemoOptions::default()
    };
    let coat = demo::coat(&options, &base::Task::default()).unwrap();
    std::fs::write(folder.join("oilskin.ply"), files::ply_bytes(&coat.mesh)).unwrap();
    let mut spec = files::JobSpec::new("oilskin coat", "oilskin.ply");
    spec.symmetry.plane = files::PlaneSpec::X;
    spec.set_faces(600).unwrap();
    let path = folder.join("coat.toml");
    files::JobFile::create(&path, &spec)
        .unwrap()
        .save()
        .unwrap();
    path
}

#[test]
fn a_ring_is_drawn_and_saved_in_the_real_window() {
    let folder =
        std::env::temp_dir().join(format!("loopwright-real-window-{}", std::process::id()));
    let job = coat(&folder);
    let desktop = Desktop::new();
    let program = Command::new(env!("CARGO_BIN_EXE_loopwright-desk"))
        .arg(&job)
        .env("DISPLAY", &desktop.display)
        .env_remove("WAYLAND_DISPLAY")
        .env("XDG_RUNTIME_DIR", &folder)
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let _program = Running(program);
    let picture = folder.join("desk.png");
    let look = || {
        let mut import = needs("import");
        let ran = import
            .args(["-window", "root"])
            .arg(&picture)
            .env("DISPLAY", &desktop.display);
        assert!(ran.status().unwrap().success());
        colours(&picture)
    };
    // The view shows a ground in shades, and then a sculpt in many more.
    until("a picture of the coat", || look() > 400);
    desktop.point(&["mousemove", "700", "200", "click", "1"]);
    // No window manager hands out the keyboard here.
    desktop.point(&["search", "--name", "Loopwright desk", "windowfocus"]);
    desktop.point(&["key", "1"]);
    let kept = folder.join(".coat.toml.unsaved");
    let text = |path: &Path| std::fs::read_to_string(path).unwrap_or_default();
    // From air to air across the skirt.
    desktop.point(&["mousemove", "360", "560"]);
    desktop.point(&["mousedown", "1"]);
    for x in (380..=1020).step_by(20) {
        desktop.point(&["mousemove", &x.to_string(), "560"]);
    }
    desktop.point(&["mouseup", "1"]);
    until("a ring in what is kept", || text(&kept).contains("ring 1"));
    assert!(!text(&job).contains("ring 1"));
    desktop.point(&["key", "ctrl+s"]);
    until("a ring in the job", || text(&job).contains("ring 1"));
    let spec = files::JobFile::read(&job).unwrap();
    assert!(
        spec.spec()
            .guides
            .iter()
            .any(|g| g.name == "ring 1" && g.closed)
    );
    look();
    if let Ok(pictures) = std::env::var("LOOPWRIGHT_PICTURES") {
        std::fs::copy(&picture, Path::new(&pictures).join("real-window.png")).unwrap();
    }
    let _ = std::fs::remove_dir_all(&folder);
}

/// Different colours in a picture.
fn colours(picture: &Path) -> usize {
    let counted = needs("identify")
        .args(["-format", "%k"])
        .arg(picture)
        .output()
        .unwrap();
    String::from_utf8_lossy(&counted.stdout)
        .trim()
        .parse()
        .unwrap_or(0)
}
