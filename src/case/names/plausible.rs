//! How large the organs of an adult are, so that a name on something of quite another size is
//! noticed. Each window is wider than what was published, since contours differ more than organs
//! do, and has its source beside it; where none was read, that is said, and the window ranks names but
//! contradicts none. Windows decide nothing: a value outside is something to look at.

use serde::{Deserialize, Deserializer, Serialize};

/// Volumes that are plausible for a structure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VolumeWindow {
    /// Smallest plausible volume, cc.
    pub low_cc: f64,
    /// Largest plausible volume, cc.
    pub high_cc: f64,
    /// Where the window comes from.
    pub source: &'static str,
}

impl VolumeWindow {
    /// Whether it has a published source: without one it may not speak against a name.
    #[must_use]
    pub fn may_contradict(&self) -> bool {
        self.source != UNREAD
    }
}

/// A window as a part keeps it.
#[derive(Deserialize)]
struct KeptWindow {
    low_cc: f64,
    high_cc: f64,
    source: String,
}

impl<'de> Deserialize<'de> for VolumeWindow {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        KeptWindow::deserialize(from).map(Self::from)
    }
}

impl From<KeptWindow> for VolumeWindow {
    fn from(KeptWindow { low_cc, high_cc, source }: KeptWindow) -> Self {
        // What is no longer in the list counts as not checked.
        let listed = WINDOWS.iter().map(|(.., listed)| *listed).find(|listed| *listed == source);
        Self { low_cc, high_cc, source: listed.unwrap_or(UNREAD) }
    }
}

const UNREAD: &str = "adult anatomy, not yet checked against a source";
// Reference masses at about 1.05 g/cc; read in a listing of the report.
const REFERENCE_BRAIN: &str = "ICRP 89: a brain of 1300 g (women) or 1450 g (men)";
const REFERENCE_EYE: &str = "ICRP 89: an eye of 7.5 g";
const REFERENCE_SALIVA: &str = "ICRP 89: all salivary glands together 70 g (women) or 85 g (men)";
// Means of thirty children of 7 to 11 years, whose brains are about as large as those of adults.
const CEREBRUM: &str = "1137 cc on average, Cereb Cortex 1996;6:726";
const CEREBELLUM: &str = "140 cc on average, Cereb Cortex 1996;6:726";
const BRAINSTEM: &str = "21 cc on average, Cereb Cortex 1996;6:726";
const VENTRICLES: &str = "all of them 15 cc on average, Cereb Cortex 1996;6:726";
const HIPPOCAMPUS: &str =
    "2.8 cc left, 2.9 cc right on average; 1.73 to 5.68 cc in the literature, MRI in 24 adults";
// Contoured for radiotherapy.
const PITUITARY: &str = "0.06 to 0.90 cc in 103 adults, Br J Radiol 2015;88:20140413";
const COCHLEA: &str = "0.03 to 0.36 cc in 138 contours, Br J Radiol 2015;88:20140413";
const EAR: &str = "1.2 to 5.1 cc in 280 contours, Br J Radiol 2015;88:20140413";
const LACRIMAL: &str = "0.77 cc right, 0.68 cc left on average, \
                        Ophthalmic Plast Reconstr Surg 2014;30:388";
// Of both sides together; read in the table, whose title page was not reached.
const THALAMUS: &str =
    "both 13.4 cc on average in controls, MRI volumes in parkinsonism, table e-1";
const MIDBRAIN: &str = "2.8 cc on average in controls, MRI volumes in parkinsonism, table e-1";
const PONS: &str = "13.1 cc on average in controls, MRI volumes in parkinsonism, table e-1";
// Without what lies between its lower end and the cord, which many contours have too.
const MEDULLA: &str = "0.72 cc on average in 36 adults, Int J Biomed 2023;13:101";
// With 1 to 6 cm from left to right this is 6 to 38 cc.
const CALLOSUM: &str = "6.27 square cm in its middle plane, AJNR 2003;24:410";
// Wet weights at 20 and at 90 years by its regression; about 1.1 g/cc.
const LENS: &str = "169 to 261 mg from 20 to 90 years, Mol Vis 2018;24:867";
// A slice of 5 mm has 0.4 cc, 45 cm have 30 to 40 cc, a canal around them three to four times that.
const CORD: &str = "8.8 by 12.4 mm at C2 on average, AJNR 1990;11:369";
const TEMPORAL: &str =
    "66.6 and 74.9 cc on average, MRI in 50 people with epilepsy, PubMed 15159469";
// A layer of 2 to 5 mm around a head or a part of it.
const SKIN: &str = "ICRP 89: 3300 g (men) or 2300 g (women) over the whole body";
// An ellipsoid 10 mm deep of the published height and width has 0.27 cc, a tract 40 mm long 0.45 cc.
const CHIASM: &str = "3.5 by 15.0 mm on average, J Comput Assist Tomogr 1993;17:688";
const TRACT: &str = "2.8 by 5.1 mm on average, J Comput Assist Tomogr 1993;17:688";
// A nerve of 40 to 50 mm has 0.4 to 0.7 cc, with its sheath about twice as much.
const NERVE: &str = "3.0 by 5.9 mm on average, J Comput Assist Tomogr 1993;17:688";

/// Standard name without side, smallest and largest volume, cc, and the source.
const WINDOWS: &[(&str, f64, f64, &str)] = &[
    ("Brain", 800.0, 2000.0, REFERENCE_BRAIN),
    ("Cerebrum", 600.0, 1700.0, CEREBRUM),
    ("Cerebellum", 70.0, 220.0, CEREBELLUM),
    ("Brainstem", 12.0, 60.0, BRAINSTEM),
    ("Pons", 6.0, 30.0, PONS),
    ("Midbrain", 1.5, 20.0, MIDBRAIN),
    ("MedullaOblongata", 0.5, 15.0, MEDULLA),
    ("CorpusCallosum", 4.0, 40.0, CALLOSUM),
    // From the fourth ventricle of a young adult to all of them, widened by age or pressure.
    ("BrainVentricle", 0.5, 200.0, VENTRICLES),
    ("Hippocampus", 0.8, 8.0, HIPPOCAMPUS),
    ("Hippocampi", 1.6, 16.0, HIPPOCAMPUS),
    ("Thalamus", 2.0, 15.0, THALAMUS),
    ("Pituitary", 0.05, 3.0, PITUITARY),
    ("OpticChiasm", 0.03, 3.0, CHIASM),
    ("OpticNrv", 0.1, 4.0, NERVE),
    ("OpticTract", 0.1, 4.0, TRACT),
    ("Eye", 3.0, 15.0, REFERENCE_EYE),
    ("Eyes", 6.0, 30.0, REFERENCE_EYE),
    ("Lens", 0.03, 1.0, LENS),
    ("Lenses", 0.06, 2.0, LENS),
    ("Glnd_Lacrimal", 0.1, 3.0, LACRIMAL),
    ("Cochlea", 0.01, 1.0, COCHLEA),
    ("Ear_Internal", 0.05, 10.0, EAR),
    ("SpinalCord", 0.4, 150.0, CORD),
    ("Parotid", 5.0, 80.0, REFERENCE_SALIVA),
    ("Parotids", 10.0, 160.0, REFERENCE_SALIVA),
    ("Bone_Mandible", 20.0, 200.0, UNREAD),
    ("Lobe_Temporal", 30.0, 180.0, TEMPORAL),
    ("Lobe_Frontal", 60.0, 350.0, UNREAD),
    ("Skin", 50.0, 1000.0, SKIN),
];

/// The window of a standard name, sides included; absent where none is known.
#[must_use]
pub fn volume_window(standard: &str) -> Option<VolumeWindow> {
    let root = standard.strip_suffix("_L").or(standard.strip_suffix("_R")).unwrap_or(standard);
    let (_, low_cc, high_cc, source) = *WINDOWS.iter().find(|(name, ..)| *name == root)?;
    Some(VolumeWindow { low_cc, high_cc, source })
}

/// A structure may be an organ although it has only this share of the least plausible volume of an
/// adult's: organs are often drawn near the target alone. A judgement, as the windows themselves
/// are.
const LEAST_SHARE: f64 = 0.1;
/// And although it has so many times the largest plausible volume.
const MOST_TIMES: f64 = 3.0;

/// Whether a structure of that volume may be the organ at all, drawn in part or with too much
/// around it: far more than a plausible volume allows. Where no window is known, or none that was
/// published, it may.
#[must_use]
pub fn has_size_of(standard: &str, volume_cc: f64) -> bool {
    let window = volume_window(standard).filter(VolumeWindow::may_contradict);
    window.is_none_or(|w| (LEAST_SHARE * w.low_cc..=MOST_TIMES * w.high_cc).contains(&volume_cc))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::catalogue::{ANSWERED_ONLY, PAIRED, SINGLE};

    #[test]
    fn windows_are_of_standard_names_and_wide() {
        for (name, low, high, source) in WINDOWS {
            assert!([SINGLE, PAIRED, ANSWERED_ONLY].iter().any(|l| l.contains(name)), "{name}");
            // A source says a year's journal or a report; none of them calls itself a memory.
            let published = [";", "ICRP", "MRI"].iter().any(|mark| source.contains(mark));
            assert!(published != (*source == UNREAD), "{name}: {source}");
            assert!(*low > 0.0 && *high > 2.0 * low, "{name}");
        }
        assert_eq!(volume_window("Eye_L"), volume_window("Eye_R"));
        // A run that goes on from kept parts says the same source.
        for (name, ..) in WINDOWS {
            let window = volume_window(name).unwrap();
            let VolumeWindow { low_cc, high_cc, source } = window;
            let kept = KeptWindow { low_cc, high_cc, source: source.to_owned() };
            assert_eq!(VolumeWindow::from(kept), window);
        }
        assert_eq!(volume_window("Brainstem_PRV03"), None);
        assert!(has_size_of("Brainstem", 2.0) && !has_size_of("Brainstem", 0.2));
        assert!(has_size_of("OpticNrv_L", 5.0) && !has_size_of("OpticNrv_L", 1300.0));
        // What was published lies within each window.
        for (name, low, high) in [
            ("Brain", 1238.0, 1381.0),
            ("Cerebrum", 1137.0, 1137.0),
            ("Cerebellum", 140.0, 140.0),
            ("Brainstem", 21.0, 21.0),
            ("Hippocampus", 1.73, 5.68),
            ("Pituitary", 0.06, 0.90),
            ("Cochlea", 0.03, 0.36),
            ("Ear_Internal", 1.2, 5.1),
            ("Glnd_Lacrimal", 0.68, 0.77),
            ("Eye", 7.1, 7.5),
            ("Thalamus", 6.7, 6.7),
            ("Midbrain", 2.8, 2.8),
            ("Pons", 13.1, 13.1),
            ("MedullaOblongata", 0.666, 0.769),
            ("CorpusCallosum", 6.3, 37.6),
            ("Lens", 0.15, 0.24),
            ("SpinalCord", 0.43, 39.0),
            ("Lobe_Temporal", 66.6, 79.7),
            ("Skin", 184.0, 264.0),
        ] {
            let window = volume_window(name).unwrap();
            assert!(window.low_cc <= low && high <= window.high_cc, "{name}");
        }
        assert!(has_size_of("Tongue", 1e6), "of which no window is known");
        // A window that nobody has found in print ranks, and speaks against nothing.
        let unread: Vec<&str> = WINDOWS
            .iter()
            .filter(|(name, ..)| !volume_window(name).unwrap().may_contradict())
            .map(|(name, ..)| *name)
            .collect();
        assert_eq!(unread, ["Bone_Mandible", "Lobe_Frontal"]);
        assert!(has_size_of("Bone_Mandible", 1e6) && !has_size_of("SpinalCord", 1e6));
    }
}
