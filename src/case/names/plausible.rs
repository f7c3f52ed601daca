//! How large the organs of an adult are, so that a name on something of quite another size is
//! noticed. The windows are wide on purpose and from memory of anatomy and contouring practice;
//! they decide nothing, a value outside is something to look at.

use serde::{Deserialize, Serialize};

/// Volumes that are plausible for a structure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VolumeWindow {
    /// Smallest plausible volume, cc.
    pub low_cc: f64,
    /// Largest plausible volume, cc.
    pub high_cc: f64,
    /// Where the window comes from.
    #[serde(skip, default = "from_memory")]
    pub source: &'static str,
}

const MEMORY: &str = "adult anatomy, not yet checked against a source";

const fn from_memory() -> &'static str {
    MEMORY
}

/// Standard name without side, smallest and largest volume, cc.
const WINDOWS: &[(&str, f64, f64)] = &[
    ("Brain", 800.0, 2000.0),
    ("Cerebrum", 600.0, 1700.0),
    ("Cerebellum", 70.0, 220.0),
    ("Brainstem", 12.0, 60.0),
    ("Pons", 6.0, 30.0),
    ("Midbrain", 3.0, 20.0),
    ("MedullaOblongata", 2.0, 15.0),
    ("CorpusCallosum", 4.0, 40.0),
    // From the fourth ventricle of a young adult to all of them, widened by age or pressure.
    ("BrainVentricle", 0.5, 200.0),
    ("Hippocampus", 0.8, 8.0),
    ("Hippocampi", 1.6, 16.0),
    ("Thalamus", 2.0, 15.0),
    ("Pituitary", 0.05, 3.0),
    ("OpticChiasm", 0.03, 3.0),
    ("OpticNrv", 0.1, 4.0),
    ("OpticTract", 0.1, 4.0),
    ("Eye", 3.0, 15.0),
    ("Eyes", 6.0, 30.0),
    ("Lens", 0.03, 1.0),
    ("Glnd_Lacrimal", 0.1, 3.0),
    ("Cochlea", 0.01, 1.0),
    ("SpinalCord", 0.5, 150.0),
    ("Parotid", 5.0, 80.0),
    ("Parotids", 10.0, 160.0),
    ("Bone_Mandible", 20.0, 200.0),
    ("Lobe_Temporal", 30.0, 180.0),
    ("Lobe_Frontal", 60.0, 350.0),
];

/// The window of a standard name, sides included; absent where none is known.
#[must_use]
pub fn volume_window(standard: &str) -> Option<VolumeWindow> {
    let root = standard.strip_suffix("_L").or(standard.strip_suffix("_R")).unwrap_or(standard);
    let (_, low_cc, high_cc) = *WINDOWS.iter().find(|(name, _, _)| *name == root)?;
    Some(VolumeWindow { low_cc, high_cc, source: MEMORY })
}

/// A structure may be an organ although it has only this share of the least plausible volume of an
/// adult's: organs are often drawn near the target alone. A judgement, as the windows themselves
/// are.
const LEAST_SHARE: f64 = 0.1;
/// And although it has so many times the largest plausible volume.
const MOST_TIMES: f64 = 3.0;

/// Whether a structure of that volume may be the organ at all, drawn in part or with too much
/// around it: far more than a plausible volume allows. Where no window is known it may.
#[must_use]
pub fn has_size_of(standard: &str, volume_cc: f64) -> bool {
    volume_window(standard)
        .is_none_or(|w| (LEAST_SHARE * w.low_cc..=MOST_TIMES * w.high_cc).contains(&volume_cc))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::catalogue::{PAIRED, SINGLE};

    #[test]
    fn windows_are_of_standard_names_and_wide() {
        for (name, low, high) in WINDOWS {
            assert!(SINGLE.contains(name) || PAIRED.contains(name), "{name}");
            assert!(*low > 0.0 && *high > 2.0 * low, "{name}");
        }
        assert_eq!(volume_window("Eye_L"), volume_window("Eye_R"));
        assert_eq!(volume_window("Brainstem_PRV03"), None);
        assert!(has_size_of("Brainstem", 2.0) && !has_size_of("Brainstem", 0.2));
        assert!(has_size_of("OpticNrv_L", 5.0) && !has_size_of("OpticNrv_L", 1300.0));
        assert!(has_size_of("Tongue", 1e6), "of which no window is known");
    }
}
