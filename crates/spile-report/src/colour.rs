//! Colours: conversions between sRGB and CIELAB, and the maps from a measure to a
//! colour, computed from them.
//!
//! # Source
//! sRGB: IEC 61966-2-1:1999. CIELAB: ISO/CIE 11664-4:2019 with the white of D65 as
//! IEC 61966-2-1 gives it. The maps' paths are ours.

use std::f64::consts::{PI, TAU};

/// A colour as sRGB has it, each channel from 0 to 1, gamma applied.
pub type Rgb = [f64; 3];

/// Paper white, in which pictures stand.
pub const PAPER: Rgb = [1.0, 1.0, 1.0];
/// What carries no measure on a map.
pub const NO_VALUE: Rgb = [0.80, 0.80, 0.80];

/// The white of D65 in XYZ.
const WHITE: [f64; 3] = [0.950_489, 1.0, 1.088_840];
/// XYZ of linear red, green and blue.
const TO_XYZ: [[f64; 3]; 3] = [
    [0.412_456_4, 0.357_576_1, 0.180_437_5],
    [0.212_672_9, 0.715_152_2, 0.072_175_0],
    [0.019_333_9, 0.119_192_0, 0.950_304_1],
];
/// The inverse.
const FROM_XYZ: [[f64; 3]; 3] = [
    [3.240_454_2, -1.537_138_5, -0.498_531_4],
    [-0.969_266_0, 1.876_010_8, 0.041_556_0],
    [0.055_643_4, -0.204_025_9, 1.057_225_2],
];
/// Where CIELAB's cube root gives way to a line.
const KNEE: f64 = 6.0 / 29.0;

/// Light of one channel of sRGB.
pub fn linear(channel: f64) -> f64 {
    if channel <= 0.040_45 { channel / 12.92 } else { ((channel + 0.055) / 1.055).powf(2.4) }
}

/// The channel of sRGB for an amount of light.
pub fn gamma(light: f64) -> f64 {
    if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * light.powf(1.0 / 2.4) - 0.055 }
}

fn times(m: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
    m.map(|row| row[0] * v[0] + row[1] * v[1] + row[2] * v[2])
}

/// Lightness (0 to 100), a and b of an sRGB colour.
pub fn lab(rgb: Rgb) -> [f64; 3] {
    let xyz = times(&TO_XYZ, rgb.map(linear));
    let f = |t: f64| if t > KNEE.powi(3) { t.cbrt() } else { t / (3.0 * KNEE * KNEE) + 4.0 / 29.0 };
    let [x, y, z] = [0, 1, 2].map(|k| f(xyz[k] / WHITE[k]));
    [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
}

/// The sRGB colour of a lightness, a chroma and a hue in degrees; channels outside 0
/// to 1 cannot be shown.
pub fn of_lch(lightness: f64, chroma: f64, hue_deg: f64) -> Rgb {
    let turn = hue_deg / 360.0 * TAU;
    let y = (lightness + 16.0) / 116.0;
    let (x, z) = (y + chroma * turn.cos() / 500.0, y - chroma * turn.sin() / 200.0);
    let back = |t: f64| if t > KNEE { t.powi(3) } else { 3.0 * KNEE * KNEE * (t - 4.0 / 29.0) };
    let xyz = [back(x) * WHITE[0], back(y) * WHITE[1], back(z) * WHITE[2]];
    times(&FROM_XYZ, xyz).map(gamma)
}

/// Relative luminance, as contrast is reckoned by WCAG 2.2.
pub fn luminance(rgb: Rgb) -> f64 {
    times(&TO_XYZ, rgb.map(linear))[1]
}

/// Contrast of two colours by WCAG 2.2, 1 to 21.
pub fn contrast(a: Rgb, b: Rgb) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// `#rrggbb`.
pub fn hex(rgb: Rgb) -> String {
    let [r, g, b] = bytes(rgb);
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// The nearest colour of 8 bits a channel.
pub fn bytes(rgb: Rgb) -> [u8; 3] {
    rgb.map(|c| (c.clamp(0.0, 1.0) * 255.0).round() as u8)
}

/// Which way a measure is turned into a colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Map {
    /// From dark to light as the measure grows from the least to the most.
    Unsigned,
    /// Light grey at zero; darker blue below, darker orange above, alike on both sides.
    Signed,
}

impl Map {
    /// The colour at `t`: 0 to 1, for [`Map::Signed`] -1 to 1. Beyond, that of the end.
    pub fn at(self, t: f64) -> Rgb {
        let [lightness, chroma, hue] = self.lch(t);
        of_lch(lightness, chroma, hue).map(|c| c.clamp(0.0, 1.0))
    }

    /// Lightness, chroma and hue at `t`.
    fn lch(self, t: f64) -> [f64; 3] {
        match self {
            Self::Unsigned => {
                let t = t.clamp(0.0, 1.0);
                // Lightness alone carries the measure; hue helps those who see it.
                [26.0 + 66.0 * t, 14.0 + 14.0 * (PI * t).sin(), 295.0 - 175.0 * t]
            }
            Self::Signed => {
                let t = t.clamp(-1.0, 1.0);
                let hue = if t < 0.0 { 278.0 } else { 58.0 };
                [93.0 - 50.0 * t.abs(), 44.0 * t.abs(), hue]
            }
        }
    }

    /// Where the map begins.
    pub fn least(self) -> f64 {
        match self {
            Self::Unsigned => 0.0,
            Self::Signed => -1.0,
        }
    }
}

/// The tones of a part's regions.
pub mod tone {
    use super::Rgb;

    /// Scan that stayed bit for bit.
    pub const KEPT: Rgb = [0.420, 0.560, 0.710];
    /// New surface on the scan's side of a seam.
    pub const REPLACED: Rgb = [0.930, 0.760, 0.420];
    /// The joint.
    pub const JOINT: Rgb = [0.760, 0.420, 0.130];
    /// A fitting.
    pub const FITTING: Rgb = [0.830, 0.860, 0.830];
    /// A made wall.
    pub const MADE: Rgb = [0.500, 0.370, 0.520];
}

#[cfg(test)]
mod tests {
    use super::*;

    fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
        (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
    }

    /// What a person without one kind of cone sees, from linear light: Machado,
    /// Oliveira and Fernandes 2009, "A physiologically-based model for simulation of
    /// color vision deficiency", IEEE TVCG 15(6), table 1, severity 1.0.
    const DEFICIENCIES: [(&str, [[f64; 3]; 3]); 3] = [
        (
            "protan",
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
        ),
        (
            "deutan",
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
        ),
        (
            "tritan",
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ),
    ];

    /// A colour as each of them sees it, and as it is.
    fn as_seen(rgb: Rgb) -> Vec<(&'static str, [f64; 3])> {
        let seen = DEFICIENCIES.iter().map(|(name, m)| {
            (*name, lab(times(m, rgb.map(linear)).map(|c| gamma(c.clamp(0.0, 1.0)))))
        });
        seen.chain([("all cones", lab(rgb))]).collect()
    }

    #[test]
    fn the_conversions_give_published_colours() {
        // Of the standards' own numbers: white is (100, 0, 0); sRGB's primaries in
        // CIELAB under D65, worked from IEC 61966-2-1 and ISO/CIE 11664-4.
        for (rgb, expected) in [
            ([1.0, 1.0, 1.0], [100.0, 0.0, 0.0]),
            ([1.0, 0.0, 0.0], [53.24, 80.09, 67.20]),
            ([0.0, 1.0, 0.0], [87.73, -86.18, 83.18]),
            ([0.0, 0.0, 1.0], [32.30, 79.19, -107.86]),
        ] {
            assert!(distance(lab(rgb), expected) < 0.05, "{rgb:?} {:?}", lab(rgb));
        }
        for k in 0..=40 {
            let rgb = Map::Unsigned.at(f64::from(k) / 40.0);
            let [l, a, b] = lab(rgb);
            let there = of_lch(l, a.hypot(b), b.atan2(a).to_degrees());
            assert!(distance(rgb, there) < 1e-5);
        }
        // WCAG 2.2: black on white is 21 to 1.
        assert!((contrast([0.0; 3], PAPER) - 21.0).abs() < 1e-4);
    }

    #[test]
    fn every_colour_of_a_map_can_be_shown() {
        for map in [Map::Unsigned, Map::Signed] {
            for k in 0..=1000 {
                let t = map.least() + (1.0 - map.least()) * f64::from(k) / 1000.0;
                let [l, c, h] = map.lch(t);
                let rgb = of_lch(l, c, h);
                assert!(rgb.iter().all(|c| (-0.002..=1.002).contains(c)), "{map:?} {t} {rgb:?}");
            }
        }
    }

    #[test]
    fn lightness_rises_evenly_and_for_every_eye() {
        let steps: Vec<Rgb> = (0..=32).map(|k| Map::Unsigned.at(f64::from(k) / 32.0)).collect();
        for pair in steps.windows(2) {
            for ((name, a), (_, b)) in as_seen(pair[0]).iter().zip(as_seen(pair[1])) {
                assert!(b[0] > a[0] + 0.8, "{name}: {a:?} {b:?}");
            }
        }
        let jumps: Vec<f64> = steps.windows(2).map(|p| distance(lab(p[0]), lab(p[1]))).collect();
        let (least, most) =
            jumps.iter().fold((f64::MAX, 0.0_f64), |(l, m), &d| (l.min(d), m.max(d)));
        assert!(most / least < 1.6, "steps of {least} to {most}");
    }

    #[test]
    fn signs_are_told_apart_by_every_eye_and_zero_is_neutral() {
        let [_, a, b] = lab(Map::Signed.at(0.0));
        assert!(a.hypot(b) < 0.5);
        for k in 1..=10 {
            let t = f64::from(k) / 10.0;
            let (below, above) = (Map::Signed.at(-t), Map::Signed.at(t));
            assert!((lab(below)[0] - lab(above)[0]).abs() < 0.5, "alike in weight");
            for ((name, x), (_, y)) in as_seen(below).iter().zip(as_seen(above)) {
                assert!(distance(*x, y) > 45.0 * t, "{name} at {t}: {x:?} {y:?}");
            }
        }
    }

    #[test]
    fn regions_are_told_apart_by_every_eye() {
        let tones = [tone::KEPT, tone::REPLACED, tone::JOINT, tone::FITTING, tone::MADE];
        for (k, &one) in tones.iter().enumerate() {
            for &other in &tones[k + 1..] {
                for ((name, x), (_, y)) in as_seen(one).iter().zip(as_seen(other)) {
                    assert!(
                        distance(*x, y) > 12.0,
                        "{name}: {one:?} {other:?} {}",
                        distance(*x, y)
                    );
                }
            }
        }
    }
}
