//! How groups are told apart: by colour, by dashes and by the shape of marks at once, so that a figure
//! is read in grey, and by people who see colours otherwise.

/// How a group is drawn: colours of Okabe and Ito by rank, with a line and a mark of its own. From the
/// sixth group on colours come again, with other dashes and marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look(pub usize);

/// Blue, vermilion, green, purple and black of Okabe and Ito.
const COLOURS: [&str; 5] = ["#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000"];
const DASHES: [&str; 5] = ["none", "22 9", "5 7", "22 7 5 7", "40 9"];
/// Marks about a point, as wide as 18 units.
const MARKS: [&str; 5] = [
    "m-9 0a9 9 0 1 0 18 0a9 9 0 1 0 -18 0",
    "m0 -11l10 18h-20z",
    "m-8 -8h16v16h-16z",
    "m0 -11l11 11l-11 11l-11 -11z",
    "m-8 -8l16 16m0 -16l-16 16",
];
/// The same in small.
const SMALL_MARKS: [&str; 5] = [
    "m-6 0a6 6 0 1 0 12 0a6 6 0 1 0 -12 0",
    "m0 -8l7 12h-14z",
    "m-5.5 -5.5h11v11h-11z",
    "m0 -8l8 8l-8 8l-8 -8z",
    "m-6 -6l12 12m0 -12l-12 12",
];

/// Groups that can be told apart; the next would look like the first.
pub const LOOKS: usize = 25;

impl Look {
    pub(super) fn colour(self) -> &'static str {
        COLOURS[self.0 % COLOURS.len()]
    }

    /// Moves on by one with each round of the colours.
    fn shape(self) -> usize {
        (self.0 + self.0 / COLOURS.len()) % DASHES.len()
    }

    pub(super) fn dash(self) -> &'static str {
        DASHES[self.shape()]
    }

    pub(super) fn mark(self) -> &'static str {
        MARKS[self.shape()]
    }

    pub(super) fn small_mark(self) -> &'static str {
        SMALL_MARKS[self.shape()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What people see who lack one kind of cone, in linear light: Machado et al. 2009, severity 1
    /// (IEEE Trans Vis Comput Graph 15:1291; from memory), and full sight.
    const SIGHTS: [[[f64; 3]; 3]; 4] = [
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [
            [0.152_286, 1.052_583, -0.204_868],
            [0.114_503, 0.786_281, 0.099_216],
            [-0.003_882, -0.048_116, 1.051_998],
        ],
        [
            [0.367_322, 0.860_646, -0.227_968],
            [0.280_085, 0.672_501, 0.047_413],
            [-0.011_820, 0.042_940, 0.968_881],
        ],
        [
            [1.255_528, -0.076_749, -0.178_779],
            [-0.078_411, 0.930_809, 0.147_602],
            [0.004_733, 0.691_367, 0.303_900],
        ],
    ];

    fn times(matrix: &[[f64; 3]; 3], v: [f64; 3]) -> [f64; 3] {
        [0, 1, 2].map(|i| (0..3).map(|j| matrix[i][j] * v[j]).sum())
    }

    /// Linear light of a colour of sRGB (IEC 61966-2-1).
    fn light(colour: &str) -> [f64; 3] {
        [1, 3, 5].map(|i| {
            let share = f64::from(u8::from_str_radix(&colour[i..i + 2], 16).unwrap()) / 255.0;
            if share <= 0.040_45 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        })
    }

    /// Lightness and the two colour axes of CIELAB 1976, white of D65.
    fn lab(light: [f64; 3]) -> [f64; 3] {
        const XYZ: [[f64; 3]; 3] = [
            [0.412_456_4, 0.357_576_1, 0.180_437_5],
            [0.212_672_9, 0.715_152_2, 0.072_175_0],
            [0.019_333_9, 0.119_192_0, 0.950_304_1],
        ];
        let white = [0.950_47, 1.0, 1.088_83];
        let xyz = times(&XYZ, light.map(|l| l.clamp(0.0, 1.0)));
        let f: Vec<f64> = (0..3)
            .map(|i| match xyz[i] / white[i] {
                t if t > 216.0 / 24_389.0 => t.cbrt(),
                t => (24_389.0 / 27.0 * t + 16.0) / 116.0,
            })
            .collect();
        [116.0 * f[1] - 16.0, 500.0 * (f[0] - f[1]), 200.0 * (f[1] - f[2])]
    }

    fn difference(a: [f64; 3], b: [f64; 3]) -> f64 {
        (0..3).map(|i| (a[i] - b[i]).powi(2)).sum::<f64>().sqrt()
    }

    /// Side by side on paper a difference of 10 is seen at a glance (common practice; 2.3 is just
    /// noticed).
    #[test]
    fn colours_differ_for_full_sight_and_three_deficiencies() {
        for sight in &SIGHTS {
            for (i, a) in COLOURS.iter().enumerate() {
                for b in &COLOURS[i + 1..] {
                    let seen = [a, b].map(|c| lab(times(sight, light(c))));
                    let apart = difference(seen[0], seen[1]);
                    assert!(apart > 10.0, "{a} and {b}: {apart:.1}");
                }
            }
        }
        // The scale itself: white against black is 100 of lightness.
        assert!((difference(lab(light("#ffffff")), lab(light("#000000"))) - 100.0).abs() < 0.01);
    }

    /// In grey some colours are alike: what is left are dashes and marks, which differ for the groups
    /// of one round; and no two of twenty-five groups share both colour and dashes.
    #[test]
    fn groups_are_told_apart_without_colour() {
        let all = |look: Look| (look.colour(), look.dash(), look.mark());
        assert_eq!(all(Look(LOOKS)), all(Look(0)), "no further one");
        for a in 0..LOOKS {
            for b in a + 1..LOOKS {
                let (a, b) = (Look(a), Look(b));
                let alike = a.dash() == b.dash() && a.mark() == b.mark();
                if a.0 / 5 == b.0 / 5 {
                    assert!(!alike && a.small_mark() != b.small_mark(), "{a:?} {b:?}");
                }
                assert!(!(alike && a.colour() == b.colour()), "{a:?} {b:?}");
            }
        }
    }
}
