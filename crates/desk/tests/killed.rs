//! Whatever moment the desk is killed at, the job file is whole and at most the last edit is lost.

// A panic is how a test fails.
#![allow(clippy::unwrap_used)]

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use egui::{Event, Modifiers, PointerButton, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable as _;
use loopwright_desk::{Desk, Start};
use mesh::{DVec3, TriMesh};

/// Tells the child process which job to edit.
const JOB: &str = "LOOPWRIGHT_TEST_DESK_JOB";
/// Every so many edits the child saves.
const SAVES: usize = 3;
const KILLS: u64 = 200;
/// Frames, 5 ms apart, after which the desk counts as hanging.
const PATIENCE: usize = 2_000;

fn pins(text: &str) -> usize {
    text.matches("[[pin]]").count()
}

/// An open tube along y.
fn tube() -> TriMesh {
    let (around, along) = (24u32, 12u32);
    let mut mesh = TriMesh::default();
    for j in 0..=along {
        for i in 0..around {
            let turn = std::f64::consts::TAU * f64::from(i) / f64::from(around);
            let p = DVec3::new(3.0 * turn.cos(), f64::from(j) - 6.0, 3.0 * turn.sin());
            mesh.positions.push(p.as_vec3());
        }
    }
    for j in 0..along {
        for i in 0..around {
            let at = |i: u32, j: u32| j * around + i % around;
            let [a, b, c, d] = [at(i, j), at(i, j + 1), at(i + 1, j + 1), at(i + 1, j)];
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
    }
    mesh
}

/// The child: clicks pins onto the sculpt without end, and says each that is kept. No picture is
/// drawn; everything else is the desk.
#[test]
fn child_clicks_until_it_is_killed() {
    let Some(path) = std::env::var_os(JOB) else {
        return;
    };
    let start = Start::of_file(Path::new(&path));
    let mut desk = Harness::builder()
        .with_size(Vec2::new(1000.0, 700.0))
        .build_eframe(move |cc| Desk::new(&cc.egui_ctx, start));
    for _ in 0..PATIENCE {
        desk.step();
        if desk.state().text().is_some() {
            break;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    desk.run_steps(3);
    if let Some(takes) = desk.query_by_label("Take it up") {
        takes.click();
        desk.run_steps(2);
    }
    desk.get_by_label("front").click();
    desk.run_steps(2);
    desk.key_press(egui::Key::Num7);
    desk.run_steps(2);
    loop {
        let before = pins(desk.state().text().unwrap());
        let step = before as f64;
        let place = DVec3::new(2.0 * step.sin(), 4.0 * (0.7 * step).cos(), 3.0);
        let pos = desk.state().place_of(place).unwrap();
        let button = |pressed| Event::PointerButton {
            pos,
            button: PointerButton::Primary,
            pressed,
            modifiers: Modifiers::default(),
        };
        desk.event(Event::PointerMoved(pos));
        for pressed in [true, false] {
            desk.event(button(pressed));
            desk.step();
        }
        let now = pins(desk.state().text().unwrap());
        assert_eq!(now, before + 1);
        if now.is_multiple_of(SAVES) {
            desk.key_press_modifiers(Modifiers::COMMAND, egui::Key::S);
            desk.step();
        }
        println!("done {now}");
        std::io::stdout().flush().unwrap();
    }
}

#[test]
fn two_hundred_kills_of_the_desk_lose_at_most_the_last_edit() {
    let folder =
        std::env::temp_dir().join(format!("loopwright-desk-killed-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let job: PathBuf = folder.join("boot.toml");
    std::fs::write(folder.join("boot.ply"), files::ply_bytes(&tube())).unwrap();
    let text = "job = 1\n[sculpt]\nfile = 'boot.ply'\n[density]\nfaces = 300\n";
    std::fs::write(&job, text).unwrap();
    let mut reached = 0;
    let mut chance = 0x2545_f491_4f6c_dd1d_u64;
    for kill in 0..KILLS {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["child_clicks_until_it_is_killed", "--exact", "--nocapture"])
            .env(JOB, &job)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Xorshift, Marsaglia 2003: the moment differs from kill to kill.
        chance ^= chance << 13;
        chance ^= chance >> 7;
        chance ^= chance << 17;
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let done = |line: &String| line.starts_with("done ");
        let first = lines.by_ref().map_while(Result::ok).find(done);
        std::thread::sleep(Duration::from_micros(chance % 30_000));
        child.kill().unwrap();
        child.wait().unwrap();
        let last = lines.map_while(Result::ok).filter(done).last().or(first);
        let last = last.unwrap_or_else(|| panic!("kill {kill}: the desk did nothing"));
        let said: usize = last.rsplit(' ').next().unwrap().parse().unwrap();
        // Whole: it can be read.
        let (document, recovery) = session::Document::open(&job).unwrap();
        let found = pins(&recovery.map_or_else(|| document.text().to_owned(), |kept| kept.text));
        // An edit may be kept that the child couldn't tell of any more.
        assert!(
            found == said || found == said + 1,
            "kill {kill}: {found} of {said}"
        );
        assert!(found > reached, "kill {kill}: nothing was done");
        reached = found;
    }
    let _ = std::fs::remove_dir_all(&folder);
}
