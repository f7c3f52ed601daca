//! The dose of a case read in several ways: as it is, from every second voxel, and, where voxels
//! scatter, with the scatter drawn anew. Knows no structure.

use tidydose_dose::noise::{self, Noise};
use tidydose_dose::{DoseField, Interpolation, Phase};
use tidydose_rt::Dose;

/// The fields of one dose, owned.
#[derive(Debug, Clone)]
pub struct Prepared {
    nominal: DoseField,
    thinned: [DoseField; 2],
    scattered: Vec<Scattered>,
    /// Noise from voxel to voxel, where there is any.
    pub noise: Option<Noise>,
}

/// What a noisy dose may have been.
#[derive(Debug, Clone)]
pub struct Scattered {
    /// The dose.
    pub field: DoseField,
    /// Share of the difference that counts as a standard uncertainty.
    pub share: f64,
    /// Whether the truth can only lie on the side of this dose.
    pub one_sided: bool,
}

/// The dose read in several ways.
#[derive(Debug, Clone, Copy)]
pub struct Fields<'a> {
    /// The dose by the method in use.
    pub nominal: &'a DoseField,
    /// The dose known at every second voxel only, in two ways.
    pub thinned: &'a [DoseField; 2],
    /// Of a noisy dose: what it may have been instead.
    pub scattered: &'a [Scattered],
    /// Dose of one stored step, Gy.
    pub step_gy: f64,
}

/// Draws of the noise, √3 times its size: added to the noise that is there they double it, and so
/// by how much a largest dose is too large.
const DRAWS: u64 = 4;
const DRAW_TIMES: f64 = 1.732_050_807_568_877_2;
/// What each counts: the root mean square of four times 1.4, half of the factor 2.78 by which
/// Student's distribution of four holds 95 %, for noise of its own size.
const DRAW_SHARE: f64 = 1.4 / 2.0 / DRAW_TIMES;
/// Voxels of a noisy grid hold values or means, nobody says which: any part of the difference may
/// be there, 1/√3 of a doubt that has one side.
const MEANS_SHARE: f64 = 0.577_350_269_189_625_8;

impl Prepared {
    /// Looks for noise and prepares all fields. A clean dose takes two arrays of its size and two
    /// times two of an eighth, a noisy one ten more.
    #[must_use]
    pub fn of(dose: Dose, asked: Interpolation) -> Self {
        let noise = Noise::of(&dose);
        let method = noise.map_or(asked, |n| n.interpolation(asked));
        let mut scattered = Vec::new();
        if let Some(n) = noise {
            let field = noise::without_averaging(&dose, method);
            scattered.push(Scattered { field, share: MEANS_SHARE, one_sided: true });
            let again = |draw| {
                let field = n.again(&dose, DRAW_TIMES, draw, method);
                Scattered { field, share: DRAW_SHARE, one_sided: false }
            };
            scattered.extend((1..=DRAWS).map(again));
        }
        let nominal = DoseField::new(dose, method);
        let thinned = [Phase::Even, Phase::Odd].map(|phase| nominal.thinned(phase));
        Self { nominal, thinned, scattered, noise }
    }

    /// Of fields that were made elsewhere; nothing is said about noise.
    #[must_use]
    pub const fn of_fields(
        nominal: DoseField,
        thinned: [DoseField; 2],
        scattered: Vec<Scattered>,
    ) -> Self {
        Self { nominal, thinned, scattered, noise: None }
    }

    /// The fields to read.
    #[must_use]
    pub fn fields(&self, step_gy: f64) -> Fields<'_> {
        Fields {
            nominal: &self.nominal,
            thinned: &self.thinned,
            scattered: &self.scattered,
            step_gy,
        }
    }
}

impl<'a> Fields<'a> {
    /// All but the nominal one: the two thinned ones, then the scattered ones.
    pub fn others(self) -> impl Iterator<Item = &'a DoseField> {
        self.thinned.iter().chain(self.scattered.iter().map(|s| &s.field))
    }
}
