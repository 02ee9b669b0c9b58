//! Loops, areas, pins and keep-outs.

use super::*;

const WISHES: &str = r#"
job = 1
sculpt.file = "oilskin.ply"

[[guide]]
name = "elbow"
kind = "ring"
loops = 3
points = [[38, 113, -6], [36, 117, -2], [35, 112, 2]]

# Where the pipe is kept.
[[area]]
name = "pocket"
outline = [[10, 80, 9], [14, 80, 9], [12, 76, 9]]
density = 1.5

[[area]]
name = "collar"
at = [0, 140, 8]
reach = 6
edge = 1.2   # the stitches show

[[pin]]
name = "shoulder"
at = [18, 138, 0]
valence = 5

[[keep_out]]
name = "elbow's bend"
guide = "elbow"
reach = 2

[[keep_out]]
name = "chest"
at = [8, 120, 11]
reach = 9.5
"#;

fn wishes() -> JobFile {
    parse(WISHES).unwrap()
}

#[test]
fn every_table_is_read() {
    let spec = wishes().spec().clone();
    assert_eq!(spec.guides[0].loops, 3);
    let pocket = &spec.areas[0];
    assert_eq!((pocket.name.as_str(), pocket.line), ("pocket", 12));
    assert!(matches!(&pocket.region, RegionSpec::Outline(points) if points.len() == 3));
    assert_eq!(pocket.size, AreaSize::Density(1.5));
    let collar = RegionSpec::Around {
        at: DVec3::new(0.0, 140.0, 8.0),
        reach: 6.0,
    };
    assert_eq!(
        (&spec.areas[1].region, spec.areas[1].size),
        (&collar, AreaSize::Edge(1.2))
    );
    assert_eq!((spec.pins[0].at.x, spec.pins[0].valence), (18.0, 5));
    let elbow = KeepOutPlace::Guide {
        guide: "elbow".into(),
        reach: 2.0,
    };
    assert_eq!(spec.keep_outs[0].place, elbow);
    assert!(matches!(
        spec.keep_outs[1].place,
        KeepOutPlace::Region(RegionSpec::Around { reach: 9.5, .. })
    ));
}

#[test]
fn a_new_text_says_the_same_and_updates_keep_comments() {
    let mut job = wishes();
    let mut spec = job.spec().clone();
    let again = JobFile::create(Path::new("x.toml"), &spec).unwrap();
    let lines = |spec: &JobSpec| {
        let mut spec = spec.clone();
        spec.guides.iter_mut().for_each(|g| g.line = 0);
        spec.areas.iter_mut().for_each(|a| a.line = 0);
        spec.pins.iter_mut().for_each(|p| p.line = 0);
        spec.keep_outs.iter_mut().for_each(|k| k.line = 0);
        spec
    };
    assert_eq!(lines(again.spec()), lines(&spec));
    spec.areas.swap(0, 1);
    spec.areas[0].size = AreaSize::Density(2.0);
    spec.areas[1].region = RegionSpec::Around {
        at: DVec3::X,
        reach: 3.0,
    };
    spec.pins[0].valence = 3;
    spec.keep_outs[0].place =
        KeepOutPlace::Region(RegionSpec::Outline(vec![DVec3::X, DVec3::Y, DVec3::Z]));
    spec.keep_outs.remove(1);
    spec.guides[0].loops = 0;
    job.update(spec.clone()).unwrap();
    assert_eq!(lines(job.spec()), lines(&spec));
    let text = job.text();
    assert!(
        text.contains("# Where the pipe is kept.\n[[area]]\nname = \"pocket\""),
        "{text}"
    );
    assert!(
        !text.contains("loops") && !text.contains("edge") && !text.contains("guide ="),
        "{text}"
    );
}

#[test]
fn each_wrong_wish_is_found_where_it_stands() {
    let cases = [
        (
            "loops = 3",
            "loops = 0",
            8,
            "'loops' is 0; it must be from 1 to 12",
        ),
        (
            "kind = \"ring\"",
            "kind = \"opening\"",
            8,
            "'loops' asks for closed loops beside a closed ring",
        ),
        ("density = 1.5", "density = 9", 15, "from 0.25 to 4"),
        (
            "density = 1.5",
            "densty = 1.5",
            15,
            "Did you mean 'density'?",
        ),
        (
            "edge = 1.2",
            "edge = 1.2\ndensity = 2",
            21,
            "'density' or 'edge'",
        ),
        ("edge = 1.2", "edge = -1", 21, "a length above 0"),
        ("reach = 6", "reach = 0", 20, "a length above 0"),
        ("reach = 6\n", "", 17, "'reach' is missing"),
        (
            "at = [0, 140, 8]",
            "outline = [[0, 1, 2], [1, 2, 3]]\nat = [0, 140, 8]",
            19,
            "either 'outline', or 'at' with 'reach'",
        ),
        (", [12, 76, 9]]", "]", 14, "has 2 points"),
        (
            "name = \"collar\"",
            "name = \"pocket\"",
            18,
            "the area of line 12 has this name too",
        ),
        (
            "valence = 5",
            "valence = 6",
            26,
            "'valence' is 6; it must be 3 or 5",
        ),
        ("valence = 5", "", 23, "'valence' is missing"),
        (
            "guide = \"elbow\"",
            "guide = \"elbw\"",
            30,
            "did you mean 'elbow'?",
        ),
        ("reach = 2", "reach = 21", 31, "from 0 to 20 quads"),
        (
            "reach = 2",
            "reach = 2\nat = [1, 2, 3]",
            32,
            "must have either",
        ),
    ];
    for (old, new, line, says) in cases {
        assert!(WISHES.contains(old), "{old}");
        let problems = parse(&WISHES.replacen(old, new, 1)).unwrap_err().problems;
        let one = problems.iter().find(|p| p.fault.to_string().contains(says));
        let one = one.unwrap_or_else(|| panic!("{new}: {problems:?}"));
        assert_eq!(one.at.unwrap().line, line, "{new}: {}", one.fault);
    }
}

#[test]
fn holds_are_read_written_and_changed_in_place() {
    let text = "job = 1\nsculpt.file = 'a.ply'\n\n[[hold]]\n# as signed off\nname = 'left sleeve'\nfile = 'coat.left_sleeve.obj'\n";
    let mut job = parse(text).unwrap();
    let hold = &job.spec().holds[0];
    assert_eq!((hold.name.as_str(), hold.line), ("left sleeve", 4));
    assert_eq!(
        job.hold_path(hold),
        std::path::Path::new("yard/coat.left_sleeve.obj")
    );
    let mut spec = job.spec().clone();
    spec.holds[0].file = "other.obj".into();
    job.update(spec.clone()).unwrap();
    assert!(job.text().contains("# as signed off") && job.text().contains("other.obj"));
    let new = JobFile::create("new.toml".as_ref(), &spec).unwrap();
    assert_eq!(new.spec().holds[0].file, spec.holds[0].file);
    for (wrong, part) in [
        ("[[hold]]\nname = 'a'\n", "'file' is missing"),
        (
            "[[hold]]\nname = 'a'\nfile = 'a.obj'\nreach = 2\n",
            "unknown key 'reach'",
        ),
        (
            "[[hold]]\nname = 'a'\nfile = 'a.obj'\n[[hold]]\nname = 'a'\nfile = 'b.obj'\n",
            "has this name too",
        ),
    ] {
        let error = parse(&format!("job = 1\nsculpt.file = 'a.ply'\n{wrong}")).unwrap_err();
        assert!(error.to_string().contains(part), "{error}");
    }
}
