//! Guides that disagree: solved with few poles and a finding that names them, or refused with their
//! lines and the change that would help, and nothing written.

use std::f64::consts::TAU;

use mesh::DVec3;
use serde_json::Value;

use crate::support::{Drawn, Folder, RADIUS, Run, Sleeve, loopwright, word};

/// Runs guides on the sleeve or on the panel; what came of it.
struct Tried {
    run: Run,
    job: Sleeve,
}

impl Tried {
    fn new(sculpt: &[u8], plane: &str, faces: u32, guides: Vec<Drawn>) -> Self {
        let mut job = Sleeve::new();
        let old = job.head.clone();
        job.head = old
            .replace("plane = \"z\"", &format!("plane = \"{plane}\""))
            .replace("faces = 300", &format!("faces = {faces}"));
        assert!(faces == 300 || job.head != old);
        job.guides = guides;
        let folder = Folder::new();
        let file = job.put(&folder);
        folder.write("sleeve.ply", sculpt);
        let before = folder.names();
        let out = folder.join("out");
        let words = ["run", word(&file), "--out", word(&out), "--pictures", "0"];
        let run = loopwright(&[&words[..], &["--json"]].concat());
        if run.status == Some(2) {
            assert_eq!(folder.names(), before, "a refusal writes nothing");
        }
        Self { run, job }
    }

    fn on_sleeve(guides: Vec<Drawn>) -> Self {
        let sleeve = files::ply_bytes(&demo::bent_tube(20_000));
        Self::new(&sleeve, "none", 300, guides)
    }

    fn on_panel(guides: Vec<Drawn>) -> Self {
        let panel = files::ply_bytes(&demo::panel(20_000));
        Self::new(&panel, "none", 400, guides)
    }

    /// A surface that passes every check, with so many poles inside.
    fn ready(self, most_poles: u64) -> Self {
        assert_eq!(self.run.status, Some(0), "{:?}", self.run);
        let json = self.run.json();
        assert_eq!(json["ready"], true, "{json}");
        let poles = json["measures"]["poles"]["poles"].as_u64().unwrap();
        assert!(poles <= most_poles, "{poles} poles");
        self
    }

    /// The finding with this code says all of this.
    fn says(&self, code: &str, parts: &[&str]) {
        let json = self.run.json();
        let list: &Vec<Value> = json["findings"].as_array().unwrap();
        let of_code = list.iter().filter(|f| f["code"] == code);
        let found: Vec<&str> = of_code.map(|f| f["sentence"].as_str().unwrap()).collect();
        let one = |s: &&str| parts.iter().all(|p| s.contains(p));
        assert!(found.iter().any(one), "{code}: {found:?}");
    }

    /// Refused; the message begins with the lines of these guides and has these parts in order.
    fn refused(&self, guides: &[&str], parts: &[&str]) {
        assert_eq!(self.run.status, Some(2), "{:?}", self.run);
        let json = self.run.json();
        let text = json["refused"].as_str().unwrap();
        let lines: Vec<String> = guides
            .iter()
            .map(|g| self.job.line_of(g).to_string())
            .collect();
        let place = match &lines[..] {
            [one] => format!("sleeve.toml:{one}: "),
            [one, two] => format!("sleeve.toml:{one} (and line {two}): "),
            _ => unreachable!(),
        };
        let mut rest = text;
        for part in [&[place.as_str()], parts].concat() {
            let at = rest.find(part);
            assert!(at.is_some(), "'{part}' isn't where it should be in: {text}");
            rest = &rest[at.unwrap() + part.len()..];
        }
    }
}

fn drawn(name: &'static str, kind: &'static str, points: Vec<DVec3>) -> Drawn {
    Drawn {
        name,
        kind,
        count: None,
        points,
    }
}

/// A ring about the sleeve's straight beginning: `height` cm up, `slant_deg` off level.
fn ring(name: &'static str, height: f64, slant_deg: f64) -> Drawn {
    let rise = RADIUS * slant_deg.to_radians().tan();
    let point = |i: i32| {
        let (sin, cos) = (TAU * f64::from(i) / 32.0).sin_cos();
        DVec3::new(-RADIUS * cos, height + rise * cos, RADIUS * sin)
    };
    drawn(name, "ring", (0..32).map(point).collect())
}

fn counted(mut guide: Drawn, count: u32) -> Drawn {
    guide.count = Some(count);
    guide
}

fn on_panel(x: f64, z: f64) -> DVec3 {
    DVec3::new(x, demo::panel_height(x, z), z)
}

/// Straight lines on the panel, seen from above, through these places.
fn legs(places: &[(f64, f64)]) -> Vec<DVec3> {
    let mut points = Vec::new();
    for w in places.windows(2) {
        let at = |i: i32| f64::from(i) / 12.0;
        let between = |t: f64| {
            (
                w[0].0 + (w[1].0 - w[0].0) * t,
                w[0].1 + (w[1].1 - w[0].1) * t,
            )
        };
        points.extend((0..12).map(|i| between(at(i))).map(|(x, z)| on_panel(x, z)));
    }
    points.extend(places.last().map(|&(x, z)| on_panel(x, z)));
    points
}

fn closed_legs(places: &[(f64, f64)]) -> Vec<DVec3> {
    let mut points = legs(&[places, &places[..1]].concat());
    points.pop();
    points
}

/// Two lines through the panel's middle at this angle, `half` cm to either side.
fn cross(angle_deg: f64, half: f64) -> Vec<Drawn> {
    let (sin, cos) = (angle_deg / 2.0).to_radians().sin_cos();
    let (x, z) = (half * cos, half * sin);
    vec![
        drawn("rise", "line", legs(&[(-x, -z), (x, z)])),
        drawn("fall", "line", legs(&[(-x, z), (x, -z)])),
    ]
}

/// 12 against 10 takes two pairs of poles; with a mirror plane 6 against 5 isn't to be had with
/// rows that come three to one, so the smaller change is named.
#[test]
fn neighbouring_rings_of_12_and_10_keep_their_counts() {
    let rings = |gap: f64, lower: u32| {
        vec![
            counted(ring("upper", 6.0, 0.0), 12),
            counted(ring("lower", 6.0 + gap, 0.0), lower),
        ]
    };
    for gap in [6.0, 3.0] {
        let tried = Tried::on_sleeve(rings(gap, 10)).ready(4);
        tried.says("guide-count", &["'upper' has 12 edges, as asked"]);
        tried.says("guide-count", &["'lower' has 10 edges, as asked"]);
    }
    let odd = Tried::on_sleeve(rings(6.0, 11));
    odd.refused(
        &["upper", "lower"],
        &["'upper', 'lower'", "make 'lower' 12 instead of 11"],
    );
    let sleeve = files::ply_bytes(&demo::bent_tube(20_000));
    let halved = Tried::new(&sleeve, "z", 300, rings(6.0, 10));
    halved.refused(
        &["upper", "lower"],
        &["'upper', 'lower'", "make 'lower' 12 instead of 10"],
    );
}

/// A quad here is 2.1 cm wide.
#[test]
fn rings_closer_than_a_quad_are_one_or_side_by_side_or_refused() {
    let rings = |gap: f64| vec![ring("upper", 8.0, 0.0), ring("lower", 8.0 + gap, 0.0)];
    Tried::on_sleeve(rings(1.0)).ready(0);
    Tried::on_sleeve(rings(0.2)).ready(0);
    let tried = Tried::on_sleeve(rings(0.7));
    let parts = [
        "\"upper\" and \"lower\"",
        "0.700 apart",
        "move \"lower\"",
        "at least",
    ];
    tried.refused(&["upper", "lower"], &parts);
    let differ = vec![
        counted(ring("upper", 8.0, 0.0), 12),
        counted(ring("lower", 8.2, 0.0), 10),
    ];
    let parts = ["12 and 10", "make \"lower\" 12 instead of 10"];
    Tried::on_sleeve(differ).refused(&["upper", "lower"], &parts);
}

#[test]
fn a_slanted_ring_is_followed_and_named() {
    let tried = Tried::on_sleeve(vec![ring("sash", 8.0, 40.0)]).ready(0);
    tried.says("ring-slant", &["'sash' leans 40°", "square to the limb"]);
    let level = Tried::on_sleeve(vec![ring("sash", 8.0, 10.0)]).ready(0);
    let json = level.run.json();
    let list = json["findings"].as_array().unwrap();
    assert!(list.iter().all(|f| f["code"] != "ring-slant"), "{json}");
}

/// Between rings that cross lie two sickles of two corners each: two pairs of poles a sickle.
#[test]
fn rings_that_cross_have_no_pole_where_they_do() {
    let rings = vec![ring("one", 8.0, 30.0), ring("two", 8.0, -30.0)];
    let tried = Tried::on_sleeve(rings).ready(8);
    for name in ["one", "two"] {
        tried.says("ring-poles", &["No pole", name]);
        tried.says("ring-slant", &[name, "30°"]);
    }
    let steep = Tried::on_sleeve(vec![ring("one", 8.0, 4.0), ring("two", 8.0, -4.0)]);
    steep.refused(&["one", "two"], &["\"one\" and \"two\"", "more squarely"]);
}

#[test]
fn lines_that_cross_squarely_need_no_pole_and_slantingly_few() {
    let square = vec![
        drawn("rise", "line", legs(&[(-6.0, 0.0), (6.0, 0.0)])),
        drawn("fall", "line", legs(&[(0.0, 6.0), (0.0, -6.0)])),
    ];
    Tried::on_panel(square).ready(0);
    for (angle, half) in [(30.0, 5.0), (30.0, 10.0), (20.0, 5.0), (45.0, 5.0)] {
        Tried::on_panel(cross(angle, half)).ready(4);
    }
    let steep = Tried::on_panel(cross(10.0, 5.0));
    let parts = ["\"rise\" and \"fall\"", "move \"fall\"", "more squarely"];
    steep.refused(&["rise", "fall"], &parts);
}

#[test]
fn a_line_that_ends_in_the_open_needs_no_pole() {
    let dart = |places: &[(f64, f64)]| vec![drawn("dart", "line", legs(places))];
    Tried::on_panel(dart(&[(-10.0, 0.0), (2.0, 0.0)])).ready(0);
    Tried::on_panel(dart(&[(-10.0, -3.0), (2.0, 2.0)])).ready(0);
    Tried::on_panel(dart(&[(-4.0, 1.0), (4.0, 0.0)])).ready(0);
}

/// Openings with four corners, with three, and with two.
#[test]
fn openings_may_have_corners() {
    let pocket = closed_legs(&[(-3.0, -3.0), (3.0, -3.0), (3.0, 3.0), (-3.0, 3.0)]);
    let vent = closed_legs(&[(-3.0, -2.0), (3.0, -2.0), (0.0, 4.0)]);
    let bow = |i: i32| {
        let (sin, cos) = (TAU / 2.0 * f64::from(i) / 20.0).sin_cos();
        on_panel(4.0 * cos, 4.0 * sin)
    };
    let mut welt: Vec<DVec3> = (0..20).map(bow).collect();
    welt.extend(legs(&[(-4.0, 0.0), (4.0, 0.0)]).into_iter().take(12));
    for (name, points, poles) in [("pocket", pocket, 0), ("vent", vent, 1), ("welt", welt, 2)] {
        let tried = Tried::on_panel(vec![drawn(name, "opening", points)]).ready(poles);
        tried.says("opening-boundary", &["ends at opening", name]);
    }
}

/// A line with a loop in it, as a braid is sewn on.
#[test]
fn what_crosses_itself_is_named() {
    let braid = |i: i32| {
        let t = 2.7 * f64::from(i) / 47.0 - 1.35;
        on_panel(7.0 * (t * t * t - t), 6.0 * t * t - 5.0)
    };
    let line = drawn("braid", "line", (0..48).map(braid).collect());
    let tried = Tried::on_panel(vec![line]).ready(6);
    tried.says("strips-cross-as-drawn", &["'braid'", "without that loop"]);
    let eight = |i: i32| {
        let t = TAU * f64::from(i) / 48.0;
        on_panel(6.0 * t.sin(), 4.0 * (2.0 * t).sin())
    };
    let ring = drawn("braid", "ring", (0..48).map(eight).collect());
    let parts = ["\"braid\" crosses itself near", "without that loop"];
    Tried::on_panel(vec![ring]).refused(&["braid"], &parts);
}
