//! Doses with the volumes they stand for, gathered in narrow bins while they are sampled. A bin keeps
//! the mean of its doses, so that sums are exact and a histogram is off only by how a few doses
//! that differ by less than a four-thousandth of themselves share one place.
//!
//! Samples of a head are some ten million; their bins are some ten thousand, need no sorting, and
//! stay in a processor's own memory.

/// Bins of one octave of doses: each is 2⁻¹² of the lower end of its octave wide, a width of 5 mGy at
/// 16 to 32 Gy. Whole numbers of Gy are lower edges, so what has exactly a prescribed dose is not
/// averaged with what has less.
const PER_OCTAVE: usize = 4096;
/// Bits of a number in single precision below its octave (sign and exponent), and below its bin.
const OCTAVE_BITS: u32 = 23;
const BIN_BITS: u32 = 11;
/// Octaves of single precision, those of both signs.
const OCTAVES: usize = 512;

/// What lies in a bin.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Bin {
    volume_mm3: f64,
    /// Dose times volume.
    moment: f64,
    samples: u32,
}

/// Sampled doses.
#[derive(Debug, Clone, PartialEq)]
pub struct Bins {
    octaves: Vec<Option<Box<[Bin]>>>,
    /// Volume, volume times dose, volume times its square.
    sums: [f64; 3],
}

/// Neighbouring doses as one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Level {
    /// Their mean, Gy.
    pub dose_gy: f64,
    /// Their volume, mm³.
    pub volume_mm3: f64,
    /// How many samples they are.
    pub samples: u32,
}

impl Default for Bins {
    fn default() -> Self {
        Self { octaves: vec![None; OCTAVES], sums: [0.0; 3] }
    }
}

impl Bins {
    /// Adds a volume (mm³) at a dose (Gy).
    #[inline]
    pub fn add(&mut self, dose_gy: f64, volume_mm3: f64) {
        let moment = dose_gy * volume_mm3;
        self.sums[0] += volume_mm3;
        self.sums[1] += moment;
        self.sums[2] += moment * dose_gy;
        let [octave, bin] = place(dose_gy);
        let Some(octave) = self.octaves.get_mut(octave) else { return };
        let bins = octave.get_or_insert_with(|| vec![Bin::default(); PER_OCTAVE].into());
        let Some(bin) = bins.get_mut(bin) else { return };
        bin.volume_mm3 += volume_mm3;
        bin.moment += moment;
        bin.samples += 1;
    }

    /// Volume, mm³.
    #[must_use]
    pub const fn volume_mm3(&self) -> f64 {
        self.sums[0]
    }

    /// Mean dose and mean of its square; absent without volume.
    pub(super) fn means(&self) -> Option<[f64; 2]> {
        let [volume, moment, square] = self.sums;
        (volume > 0.0).then(|| [moment / volume, square / volume])
    }

    /// What the bins hold, descending in dose.
    pub(super) fn descending(&self) -> impl Iterator<Item = Level> {
        let filled = self.octaves.iter().rev().flatten().flat_map(|bins| bins.iter().rev());
        filled.filter(|bin| bin.volume_mm3 > 0.0).map(|bin| Level {
            dose_gy: bin.moment / bin.volume_mm3,
            volume_mm3: bin.volume_mm3,
            samples: bin.samples,
        })
    }
}

impl FromIterator<(f64, f64)> for Bins {
    /// Of doses (Gy) and volumes (mm³).
    fn from_iter<T: IntoIterator<Item = (f64, f64)>>(parts: T) -> Self {
        let mut bins = Self::default();
        for (dose_gy, volume_mm3) in parts {
            bins.add(dose_gy, volume_mm3);
        }
        bins
    }
}

/// The octave of a dose and its bin there, both ascending with the dose.
#[inline]
fn place(dose_gy: f64) -> [usize; 2] {
    #[allow(clippy::cast_possible_truncation)] // bins are wider than single precision
    let bits = (dose_gy as f32).to_bits();
    // Numbers below nought have their order turned around.
    let key = if bits >> 31 == 1 { !bits } else { bits | 1 << 31 };
    [(key >> OCTAVE_BITS) as usize, (key >> BIN_BITS) as usize % PER_OCTAVE]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn doses_come_out_descending_whatever_their_sign() {
        let doses = [-1.0, 3.5, -0.25, 0.0, 1e-7, 7.0, -30.0, 3.75];
        let bins: Bins = doses.iter().map(|d| (*d, 2.0)).collect();
        let mut want = doses.to_vec();
        want.sort_by(|a, b| b.total_cmp(a));
        assert_eq!(bins.descending().map(|l| l.dose_gy).collect::<Vec<_>>(), want);
        assert_eq!(bins.volume_mm3(), 16.0);
    }

    #[test]
    fn a_bin_has_the_mean_of_its_doses_and_whole_doses_begin_one() {
        let bins: Bins = [(20.001, 1.0), (20.002, 3.0), (19.9999, 5.0)].into_iter().collect();
        let levels: Vec<_> = bins.descending().collect();
        assert_eq!(levels.len(), 2);
        assert!((levels[0].dose_gy - 20.001_75).abs() < 1e-12);
        assert_eq!((levels[0].volume_mm3, levels[0].samples), (4.0, 2));
        assert_eq!(levels[1].volume_mm3, 5.0);
    }

    /// The width that the head of this file states.
    #[test]
    fn no_bin_is_wider_than_a_four_thousandth_of_its_dose() {
        for dose in [1e-3_f64, 0.024, 0.5, 12.0, 19.99, 63.0] {
            let wide = dose * (1.0 + 1.0 / 4096.0);
            assert_ne!(place(dose), place(wide));
        }
    }
}
