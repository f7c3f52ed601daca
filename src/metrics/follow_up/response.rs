//! How lesions answered, as far as images tell: sums of longest diameters by RANO-BM and volumes by
//! the same thresholds on spheres. The criteria ask for steroids and the state of the patient as
//! well, which no image holds: none of these words is a clinical response.

use super::{Bounded, UNDECIDED};

/// What the imaging part of the criteria says.
pub const RESPONSES: &[&str] = &["complete", "partial", "stable", "progressive", UNDECIDED];

/// Said beside every response.
pub const CAUTION: &str = "imaging part only: the criteria ask for corticosteroids and the clinical state as well, and radionecrosis looks like progression";

/// Thresholds of a criterion.
#[derive(Debug)]
pub struct ResponseDefinition {
    /// Its word in the table.
    pub word: &'static str,
    /// What is compared.
    pub of: Compared,
    /// Change against the baseline from which on the response is partial, percent (negative).
    pub partial_percent: f64,
    /// Change against the smallest value before from which on it is progressive, percent.
    pub progressive_percent: f64,
    /// The absolute growth that progression needs as well, in the unit of what is compared.
    pub progressive_by: f64,
    /// Where it is from, and what of it was read.
    pub reference: &'static str,
}

/// What a criterion compares.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compared {
    /// Sum of longest diameters on one plane, mm.
    SumOfDiameters,
    /// Sum of volumes, cc.
    SumOfVolumes,
}

/// Smallest longest diameter and diameter across it of a lesion that the criteria measure, mm.
pub const MEASURABLE_MM: [f64; 2] = [10.0, 5.0];
/// Lesions that are added up, at most: the largest.
pub const MOST_LESIONS: usize = 5;
/// Smallest volume for which a relative change of volume is told, cc (Sharpton et al. 2014,
/// Neurosurgery 74:9, abstract read).
pub const LEAST_VOLUME_CC: f64 = 0.1;

/// The criteria.
pub static RESPONSES_BY: &[ResponseDefinition] = &[
    ResponseDefinition {
        word: "rano_bm_imaging",
        of: Compared::SumOfDiameters,
        partial_percent: -30.0,
        progressive_percent: 20.0,
        progressive_by: 5.0,
        reference: "RANO-BM, Lin et al. 2015, Lancet Oncol 16:e270 (criteria read in a table that reprints them; the growth by 5 mm in one lesion not yet checked against the source)",
    },
    // A sphere whose diameter falls by 30 % has 0.7³ = 34.3 % of its volume, one that grows by 20 %
    // has 1.2³ = 172.8 %.
    ResponseDefinition {
        word: "volume_of_spheres",
        of: Compared::SumOfVolumes,
        partial_percent: -65.7,
        progressive_percent: 72.8,
        progressive_by: 0.0,
        reference: "the thresholds of RANO-BM on spheres (arithmetic); 65 % as in Oft et al. 2021, Front Oncol 10:590980 (abstract read)",
    },
];

/// A value against what was before.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Readings {
    /// Before the treatment.
    pub baseline: Bounded,
    /// The smallest value at or after the baseline and before this time.
    pub nadir: Bounded,
    /// Now; nothing drawn any more is 0.
    pub now: Bounded,
    /// Largest growth of one lesion over its smallest value before, in the same unit.
    pub growth: Bounded,
}

impl ResponseDefinition {
    /// What the images say. A new lesion is progression, whatever the others do.
    #[must_use]
    pub fn response(&self, readings: &Readings, new_lesions: bool) -> &'static str {
        if new_lesions {
            return "progressive";
        }
        if readings.now.high <= 0.0 {
            return "complete";
        }
        let Some(of_baseline) = readings.now.change_percent(readings.baseline) else {
            return UNDECIDED;
        };
        // Nothing was left before: what is there again has grown by more than any percentage.
        let again = readings.nadir.high <= 0.0 && readings.now.low > 0.0;
        let by_share = match readings.now.change_percent(readings.nadir) {
            _ if again => Fact::Yes,
            Some(of_nadir) => Fact::at_least(of_nadir, self.progressive_percent),
            None => return UNDECIDED,
        };
        let grown = by_share.and(Fact::at_least(readings.growth, self.progressive_by));
        let shrunk = Fact::at_most(of_baseline, self.partial_percent);
        match (grown, shrunk) {
            (Fact::Yes, _) => "progressive",
            (Fact::No, Fact::Yes) => "partial",
            (Fact::No, Fact::No) => "stable",
            _ => UNDECIDED,
        }
    }
}

/// Whether a threshold is reached, as far as bounds tell. At equality it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fact {
    Yes,
    No,
    Open,
}

/// Percentages that differ by less are equal: what is left of dividing two numbers.
const EQUAL: f64 = 1e-9;

impl Fact {
    fn at_least(value: Bounded, threshold: f64) -> Self {
        match threshold - EQUAL {
            t if value.low >= t => Self::Yes,
            t if value.high < t => Self::No,
            _ => Self::Open,
        }
    }

    fn at_most(value: Bounded, threshold: f64) -> Self {
        match threshold + EQUAL {
            t if value.high <= t => Self::Yes,
            t if value.low > t => Self::No,
            _ => Self::Open,
        }
    }

    const fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::No, _) | (_, Self::No) => Self::No,
            (Self::Yes, Self::Yes) => Self::Yes,
            _ => Self::Open,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(baseline: f64, nadir: f64, now: f64) -> Readings {
        let [baseline, nadir, now] = [baseline, nadir, now].map(Bounded::exactly);
        Readings { baseline, nadir, now, growth: Bounded::exactly(now.value - nadir.value) }
    }

    /// Table of RANO-BM as reprinted in PMC6499019: 30 % less than the baseline is partial, 20 % more
    /// than the nadir progressive, at equality both.
    #[test]
    fn thresholds_at_equality() {
        let rano = &RESPONSES_BY[0];
        for (baseline, nadir, now, expected) in [
            (40.0, 40.0, 28.0, "partial"),
            (40.0, 40.0, 28.1, "stable"),
            (40.0, 28.0, 33.0, "stable"),
            (40.0, 28.0, 33.6, "progressive"),
            (40.0, 20.0, 24.0, "partial"), // 20 % more than the nadir, but by 4 mm only
            (40.0, 20.0, 25.0, "progressive"),
            (40.0, 40.0, 0.0, "complete"),
            (40.0, 0.0, 5.0, "progressive"), // there again, by 5 mm
            (40.0, 0.0, 4.0, "partial"),
        ] {
            let readings = readings(baseline, nadir, now);
            assert_eq!(rano.response(&readings, false), expected, "{baseline} {nadir} {now}");
            assert_eq!(rano.response(&readings, true), "progressive", "a new lesion");
        }
    }

    #[test]
    fn volumes_have_the_thresholds_of_spheres() {
        let volumes = &RESPONSES_BY[1];
        assert!((100.0 * (0.7_f64.powi(3) - 1.0) - volumes.partial_percent).abs() < 1e-9);
        assert!((100.0 * (1.2_f64.powi(3) - 1.0) - volumes.progressive_percent).abs() < 1e-9);
        assert_eq!(volumes.response(&readings(1.0, 1.0, 0.343), false), "partial");
        assert_eq!(volumes.response(&readings(1.0, 1.0, 0.35), false), "stable");
        assert_eq!(volumes.response(&readings(1.0, 0.5, 0.864), false), "progressive");
        assert_eq!(
            volumes.response(&readings(1.0, 0.0, 0.01), false),
            "progressive",
            "there again"
        );
    }

    #[test]
    fn bounds_that_hold_a_threshold_leave_it_open() {
        let doubtful = Readings {
            now: Bounded { value: 27.0, low: 25.0, high: 29.0 },
            ..readings(40.0, 40.0, 27.0)
        };
        assert_eq!(RESPONSES_BY[0].response(&doubtful, false), "undecided");
        let unknown =
            Readings { baseline: Bounded { value: 40.0, low: 0.0, high: 80.0 }, ..doubtful };
        assert_eq!(RESPONSES_BY[0].response(&unknown, false), "undecided");
    }
}
