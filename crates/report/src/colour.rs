//! Colours: linear light inside, sRGB (IEC 61966-2-1) at the rim, OKLab (Ottosson, "A
//! perceptual color space for image processing", 2020) wherever steps must look even.

use std::sync::LazyLock;

/// Red, green and blue in linear light, 0 to 1.
pub(crate) type Rgb = [f32; 3];

/// sRGB transfer function, 0 to 255 rounded.
pub(crate) fn encode(value: f32) -> u8 {
    ENCODED[(value.clamp(0.0, 1.0) * (ENCODED.len() - 1) as f32 + 0.5) as usize]
}

/// [`encode`] at even steps of linear light; fine enough that no value of 8 bits is skipped.
static ENCODED: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let steps = 1 << 14;
    let curve = |v: f32| {
        if v <= 0.003_130_8 {
            12.92 * v
        } else {
            1.055 * v.powf(1.0 / 2.4) - 0.055
        }
    };
    (0..=steps)
        .map(|i| (curve(i as f32 / steps as f32) * 255.0 + 0.5) as u8)
        .collect()
});

/// Linear light of an sRGB value.
pub(crate) fn decode(value: u8) -> f32 {
    DECODED[value as usize]
}

static DECODED: LazyLock<[f32; 256]> = LazyLock::new(|| {
    std::array::from_fn(|i| {
        let s = i as f32 / 255.0;
        if s <= 0.040_45 {
            s / 12.92
        } else {
            ((s + 0.055) / 1.055).powf(2.4)
        }
    })
});

/// Linear light of an sRGB colour written `0xRRGGBB`.
pub(crate) fn srgb(hex: u32) -> Rgb {
    [hex >> 16, hex >> 8, hex].map(|v| decode((v & 255) as u8))
}

/// The colour as CSS and SVG write it.
pub(crate) fn css(colour: Rgb) -> String {
    let [r, g, b] = colour.map(encode);
    format!("#{r:02x}{g:02x}{b:02x}")
}

pub(crate) fn mix(a: Rgb, b: Rgb, share: f32) -> Rgb {
    [0, 1, 2].map(|i| a[i] + (b[i] - a[i]) * share)
}

pub(crate) fn scaled(colour: Rgb, by: f32) -> Rgb {
    colour.map(|v| v * by)
}

/// Linear light of an OKLab colour.
pub(crate) fn from_oklab([l, a, b]: [f32; 3]) -> Rgb {
    let l_ = (l + 0.396_337_78 * a + 0.215_803_76 * b).powi(3);
    let m_ = (l - 0.105_561_346 * a - 0.063_854_17 * b).powi(3);
    let s_ = (l - 0.089_484_18 * a - 1.291_485_5 * b).powi(3);
    [
        4.076_741_7 * l_ - 3.307_711_6 * m_ + 0.230_969_94 * s_,
        -1.268_438 * l_ + 2.609_757_4 * m_ - 0.341_319_4 * s_,
        -0.004_196_086_3 * l_ - 0.703_418_6 * m_ + 1.707_614_7 * s_,
    ]
}

/// Linear light of lightness, chroma and hue (degrees) in OKLab.
pub(crate) fn from_lch(lightness: f32, chroma: f32, hue_deg: f32) -> Rgb {
    let hue = hue_deg.to_radians();
    from_oklab([lightness, chroma * hue.cos(), chroma * hue.sin()]).map(|v| v.clamp(0.0, 1.0))
}

/// Knots of the distance scale in OKLab: from pale straw through rust to a deep plum. Lightness
/// falls all the way, so that it reads in print and with any colour vision.
const KNOTS: [[f32; 3]; 4] = [
    [0.95, 0.000, 0.045],
    [0.77, 0.075, 0.085],
    [0.53, 0.135, 0.030],
    [0.27, 0.075, -0.050],
];

/// The distance scale at `share` from 0 to 1; equal steps of share are equal steps in OKLab.
pub(crate) fn distance_scale(share: f32) -> Rgb {
    from_oklab(distance_oklab(share)).map(|v| v.clamp(0.0, 1.0))
}

fn distance_oklab(share: f32) -> [f32; 3] {
    let step = |i: usize| {
        let d: f32 = (0..3)
            .map(|k| (KNOTS[i + 1][k] - KNOTS[i][k]).powi(2))
            .sum();
        d.sqrt()
    };
    let lengths = [step(0), step(1), step(2)];
    let mut left = share.clamp(0.0, 1.0) * lengths.iter().sum::<f32>();
    for (i, length) in lengths.into_iter().enumerate() {
        if left <= length || i == 2 {
            let t = (left / length).min(1.0);
            return [0, 1, 2].map(|k| KNOTS[i][k] + t * (KNOTS[i + 1][k] - KNOTS[i][k]));
        }
        left -= length;
    }
    KNOTS[3]
}

/// Tints for patches: light enough for dark edges, spread in hue and, since hue alone fails
/// some eyes, in lightness.
pub(crate) const PATCH_TINTS: usize = 12;

/// Tint number `i` for patches.
pub(crate) fn patch_tint(i: usize) -> Rgb {
    let i = i % PATCH_TINTS;
    let lightness = [0.90, 0.74, 0.82][i % 3];
    from_lch(lightness, 0.085, 20.0 + 150.0 * i as f32)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked values of IEC 61966-2-1: half of full linear light is 188, black and white stay.
    #[test]
    fn the_transfer_function_is_that_of_the_standard() {
        assert_eq!([0.0, 0.5, 1.0].map(encode), [0, 188, 255]);
        for v in 0..=255u8 {
            assert_eq!(encode(decode(v)), v);
        }
    }

    /// OKLab's white (Ottosson 2020): L = 1, a = b = 0 is R = G = B = 1.
    #[test]
    fn oklab_white_is_white() {
        assert!(
            from_oklab([1.0, 0.0, 0.0])
                .iter()
                .all(|v| (v - 1.0).abs() < 1e-4)
        );
        assert!(from_oklab([0.0; 3]).iter().all(|v| v.abs() < 1e-6));
    }

    #[test]
    fn the_distance_scale_steps_evenly_and_darkens_all_the_way() {
        let colours: Vec<[f32; 3]> = (0..=60).map(|i| distance_oklab(i as f32 / 60.0)).collect();
        let steps: Vec<f32> = colours
            .windows(2)
            .map(|w| {
                (0..3)
                    .map(|k| (w[1][k] - w[0][k]).powi(2))
                    .sum::<f32>()
                    .sqrt()
            })
            .collect();
        let mean = steps.iter().sum::<f32>() / steps.len() as f32;
        assert!(
            steps.iter().all(|s| (s / mean - 1.0).abs() < 0.05),
            "{steps:?}"
        );
        assert!(colours.windows(2).all(|w| w[1][0] < w[0][0]));
        // Nothing is cut off by the gamut.
        for lab in colours {
            assert!(
                from_oklab(lab).iter().all(|v| (-1e-3..=1.001).contains(v)),
                "{lab:?}"
            );
        }
    }

    /// Relative luminance falls all the way for missing red, green or blue cones too; matrices
    /// for linear light from Machado, Oliveira & Fernandes, IEEE TVCG 2009, severity 1
    /// (values from memory).
    #[test]
    fn the_distance_scale_reads_with_any_colour_vision() {
        let protan = [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ];
        let deutan = [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ];
        let tritan = [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ];
        for seen in [protan, deutan, tritan] {
            let luminance: Vec<f32> = (0..=40)
                .map(|i| {
                    let c = distance_scale(i as f32 / 40.0);
                    let c = seen.map(|row| row[0] * c[0] + row[1] * c[1] + row[2] * c[2]);
                    0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2]
                })
                .collect();
            assert!(luminance.windows(2).all(|w| w[1] < w[0]), "{luminance:?}");
        }
    }
}
