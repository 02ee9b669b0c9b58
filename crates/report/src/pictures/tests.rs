use super::*;
use crate::paint::ground;
use crate::testing::{self, Sample};
use base::Cancelled;
use std::sync::Arc;

/// Width, height and bytes of a packed picture.
fn unpacked(picture: &Picture) -> (usize, usize, Vec<u8>) {
    let mut decoder = ::png::Decoder::new(std::io::Cursor::new(&picture.png));
    decoder.set_transformations(::png::Transformations::EXPAND);
    let mut reader = decoder.read_info().unwrap();
    let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut bytes).unwrap();
    (info.width as usize, info.height as usize, bytes)
}

fn named<'a>(pictures: &'a [Picture], name: &str) -> &'a Picture {
    pictures.iter().find(|p| p.name == name).unwrap()
}

/// Share of pixels that aren't ground.
fn covered(picture: &Picture) -> f64 {
    let (width, height, bytes) = unpacked(picture);
    let ground = ground().map(crate::colour::encode);
    bytes.chunks(3).filter(|p| *p != ground).count() as f64 / (width * height) as f64
}

#[test]
fn all_pictures_are_there_and_show_something() {
    let sample = Sample::new(160);
    let pictures = pictures(&sample.input(), &Task::default()).unwrap();
    let names: Vec<&str> = pictures.iter().map(|p| p.name.as_str()).collect();
    let mut want = vec![
        "surface-front",
        "surface-back",
        "surface-above",
        "surface-side",
        "surface-below",
    ];
    want.extend(
        ["findings-front", "findings-back"]
            .iter()
            .filter(|n| names.contains(n)),
    );
    want.extend([
        "over-sculpt-front",
        "over-sculpt-back",
        "over-sculpt-above",
        "distance-front",
        "distance-back",
    ]);
    want.extend([
        "poles-front",
        "poles-back",
        "patches-front",
        "patches-back",
        "guides-front",
        "guides-back",
    ]);
    want.extend(["guide-01-hat-band", "guide-02-brim", "guide-03-front-seam"]);
    assert_eq!(names, want);
    assert!(
        names.iter().any(|n| n.starts_with("findings")),
        "the failing vertex is seen from one side"
    );
    for picture in &pictures {
        assert!(covered(picture) > 0.2, "{}", picture.name);
    }
}

/// A sphere in parallel projection covers π/4 of the square around it (handbook mensuration).
#[test]
fn a_sphere_covers_its_share_of_the_square() {
    let sample = Sample::new(400);
    let pictures = pictures(&sample.input(), &Task::default()).unwrap();
    let picture = named(&pictures, "guides-front");
    let (width, height, _) = unpacked(picture);
    assert_eq!((width, height), (400, 400));
    let square = (1.0 - 2.0 * MARGIN).powi(2);
    let share = covered(picture) / square;
    // Pixels cut by the rim count as covered: half a pixel around, 2/360 of the area, and guides
    // at the rim stand out by a little.
    assert!(
        (share - std::f64::consts::FRAC_PI_4).abs() < 0.012,
        "{share}"
    );
}

#[test]
fn pictures_are_the_same_for_any_number_of_threads() {
    let sample = Sample::new(96);
    let runs = [1, 2, 5].map(|threads| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap();
        pool.install(|| pictures(&sample.input(), &Task::default()).unwrap())
    });
    assert_eq!(runs[0], runs[1]);
    assert_eq!(runs[0], runs[2]);
}

/// Turned inside out, the surface shows the tint of its inner side, and before it hardly does.
#[test]
fn inside_out_shows() {
    let lining = crate::paint::lining();
    let share = |sample: &Sample| {
        let pictures = pictures(&sample.input(), &Task::default()).unwrap();
        let (_, _, bytes) = unpacked(named(&pictures, "surface-front"));
        let full = lining.map(crate::colour::encode);
        let striped = crate::colour::scaled(lining, 0.55).map(crate::colour::encode);
        // Hue by the order and gaps of the channels: red well over blue, blue over green.
        let like = |p: &[u8]| {
            p[0] > p[2]
                && p[2] > p[1]
                && p[0] - p[1] > (full[0] - full[1]).min(striped[0] - striped[1]) / 3
        };
        bytes.chunks(3).filter(|p| like(p)).count() as f64 / (bytes.len() / 3) as f64
    };
    let mut sample = Sample::new(120);
    assert!(share(&sample) < 0.01);
    sample.surface.quads.iter_mut().for_each(|q| q.reverse());
    assert!(share(&sample) > 0.3, "{}", share(&sample));
    let explained = |pictures: &[Picture]| !named(pictures, "surface-front").legend.is_empty();
    assert!(explained(
        &pictures(&sample.input(), &Task::default()).unwrap()
    ));
    sample.surface.quads.iter_mut().for_each(|q| q.reverse());
    assert!(!explained(
        &pictures(&sample.input(), &Task::default()).unwrap()
    ));
}

#[test]
fn empty_things_give_fewer_pictures() {
    let mut sample = Sample::new(64);
    sample.patches.clear();
    sample.guides.clear();
    sample.findings = base::Findings::default();
    let some = pictures(&sample.input(), &Task::default()).unwrap();
    assert!(
        some.iter()
            .all(|p| !p.name.starts_with("patches") && !p.name.starts_with("findings"))
    );
    sample.surface = mesh::QuadMesh::default();
    sample.poles.clear();
    let few = pictures(&sample.input(), &Task::default()).unwrap();
    assert_eq!(
        few.iter().map(|p| p.name.as_str()).collect::<Vec<_>>(),
        ["guides-front", "guides-back"]
    );
    sample.sculpt = mesh::SurfaceIndex::new(Arc::new(mesh::TriMesh::default()));
    assert!(
        pictures(&sample.input(), &Task::default())
            .unwrap()
            .is_empty()
    );
    sample.surface = testing::ball(2);
    let alone = pictures(&sample.input(), &Task::default()).unwrap();
    assert!(alone.iter().any(|p| p.name == "surface-front"));
    assert!(alone.iter().all(|p| !p.name.starts_with("distance")));
}

#[test]
fn what_is_wrong_is_named() {
    type Break = fn(&mut Sample);
    let cases: [(Break, &str); 6] = [
        (|s| s.px = 10, "10 pixels"),
        (|s| s.surface.positions[3] = DVec3::NAN, "vertex 3"),
        (
            |s| s.surface.quads[2][1] = 9999,
            "quad 2 of the surface names vertex 9999",
        ),
        (|s| s.poles[0].vertex = 9999, "vertex 9999"),
        (|s| s.patches.truncate(5), "5 quads"),
        (
            |s| s.guides[1].points[2] = DVec3::INFINITY,
            "point 2 of guide \"brim\"",
        ),
    ];
    for (spoil, words) in cases {
        let mut sample = Sample::new(64);
        spoil(&mut sample);
        let error = pictures(&sample.input(), &Task::default())
            .unwrap_err()
            .to_string();
        assert!(error.contains(words), "{error}");
    }
    let task = Task::default();
    task.cancel();
    let stopped = pictures(&Sample::new(64).input(), &task);
    assert!(matches!(stopped, Err(ReportError::Cancelled(Cancelled))));
}
