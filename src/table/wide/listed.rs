//! The values that the wide tables have: names, labels and meanings of their columns, and where each
//! value comes from. How it is found there stands in `values.rs`.

use super::values::Source::{self, Gap, Nearest, Of, Overlap, Own};

/// A value with its four columns: value, low, high, status.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Value {
    /// Names of the columns.
    pub(crate) names: [&'static str; 4],
    unit: &'static str,
    /// What stands over them where people read them.
    pub(super) labels: [&'static str; 4],
    /// What they mean.
    pub(super) meanings: [&'static str; 4],
    /// What it is, without where its status stands.
    pub(crate) meaning: &'static str,
    pub(crate) source: Source<'static>,
}

impl Value {
    /// Its unit; empty for none.
    pub(crate) fn unit(&self) -> &'static str {
        if self.unit == "1" { "" } else { self.unit }
    }

    /// What stands over its value.
    pub(crate) const fn label(&self) -> &'static str {
        self.labels[0]
    }
}

macro_rules! value {
    ($stem:literal, $end:literal, $unit:literal, $label:literal, $source:expr) => {
        value!($stem, $end, $unit, $label, $label, $source)
    };
    ($stem:literal, $end:literal, $unit:literal, $label:literal, $meaning:literal, $source:expr) => {
        Value {
            names: [
                concat!($stem, $end),
                concat!($stem, "_low", $end),
                concat!($stem, "_high", $end),
                concat!($stem, "_status"),
            ],
            unit: $unit,
            labels: [
                $label,
                concat!($label, ", lower bound"),
                concat!($label, ", upper bound"),
                concat!($label, ", status"),
            ],
            meanings: [
                concat!($meaning, ". If empty, see ", $stem, "_status"),
                concat!(
                    "lower bound of ",
                    $stem,
                    $end,
                    ": two standard uncertainties below it. How far the computation may be off \
                     (slices and dose grid are coarse, stored numbers rounded); an estimate, not \
                     a hard limit and not a confidence interval of patients; contouring and set-up \
                     are not in it. If empty, see ",
                    $stem,
                    "_status"
                ),
                concat!(
                    "upper bound of ",
                    $stem,
                    $end,
                    ": two standard uncertainties above it, see ",
                    $stem,
                    "_low",
                    $end
                ),
                concat!(
                    "whether ",
                    $stem,
                    $end,
                    " may be used (ok), and why not else; words as in table metrics, column \
                     status; not_in_run: this run was not asked to compute it"
                ),
            ],
            meaning: $meaning,
            source: $source,
        }
    };
}

/// The values of a plan.
pub(crate) const OF_PLAN: &[Value] = &[
    value!("brainstem_volume", "_cc", "cc", "volume of Brainstem", Of("Brainstem", "Volume[cc]")),
    value!(
        "brainstem_d0p03cc",
        "_gy",
        "Gy",
        "D0.03cc[Gy] of Brainstem",
        Of("Brainstem", "D0.03cc[Gy]")
    ),
    value!(
        "brainstem_d0p1cc",
        "_gy",
        "Gy",
        "D0.1cc[Gy] of Brainstem",
        Of("Brainstem", "D0.1cc[Gy]")
    ),
    value!(
        "brainstem_d0p5cc",
        "_gy",
        "Gy",
        "D0.5cc[Gy] of Brainstem",
        Of("Brainstem", "D0.5cc[Gy]")
    ),
    value!("brainstem_mean", "_gy", "Gy", "Mean[Gy] of Brainstem", Of("Brainstem", "Mean[Gy]")),
    value!("brainstem_v10gy", "_cc", "cc", "V10Gy[cc] of Brainstem", Of("Brainstem", "V10Gy[cc]")),
    value!("brainstem_v12gy", "_cc", "cc", "V12Gy[cc] of Brainstem", Of("Brainstem", "V12Gy[cc]")),
    value!(
        "brainstem_gap",
        "_mm",
        "mm",
        "smallest distance between a target and Brainstem",
        "shortest distance from the surface of a target to the surface of Brainstem, of all targets \
         the smallest; where they overlap it is negative: how deep one reaches into the other at most",
        Gap("Brainstem")
    ),
    value!(
        "brainstem_overlap",
        "_cc",
        "cc",
        "largest volume that one target shares with Brainstem",
        Overlap("Brainstem")
    ),
    value!(
        "chiasm_d0p03cc",
        "_gy",
        "Gy",
        "D0.03cc[Gy] of OpticChiasm",
        Of("OpticChiasm", "D0.03cc[Gy]")
    ),
    value!(
        "optic_l_d0p03cc",
        "_gy",
        "Gy",
        "D0.03cc[Gy] of OpticNrv_L",
        Of("OpticNrv_L", "D0.03cc[Gy]")
    ),
    value!(
        "optic_r_d0p03cc",
        "_gy",
        "Gy",
        "D0.03cc[Gy] of OpticNrv_R",
        Of("OpticNrv_R", "D0.03cc[Gy]")
    ),
    value!("cochlea_l_mean", "_gy", "Gy", "Mean[Gy] of Cochlea_L", Of("Cochlea_L", "Mean[Gy]")),
    value!("cochlea_r_mean", "_gy", "Gy", "Mean[Gy] of Cochlea_R", Of("Cochlea_R", "Mean[Gy]")),
    value!(
        "brain_v12gy",
        "_cc",
        "cc",
        "V12Gy[cc] of Brain, targets included",
        Of("Brain", "V12Gy[cc]")
    ),
    value!(
        "brain_less_gtv_v12gy",
        "_cc",
        "cc",
        "V12Gy[cc] of Brain without the GTVs",
        Of("Brain-GTV", "V12Gy[cc]")
    ),
    value!(
        "brain_less_targets_v12gy",
        "_cc",
        "cc",
        "V12Gy[cc] of Brain without all targets",
        Of("Brain-targets", "V12Gy[cc]")
    ),
    value!(
        "tissue_v12gy",
        "_cc",
        "cc",
        "V12Gy[cc] of all tissue, targets included",
        Of("all tissue", "V12Gy[cc]")
    ),
];

/// The values of a lesion.
pub(crate) const OF_LESION: &[Value] = &[
    value!(
        "volume",
        "_cc",
        "cc",
        "Volume of the measured target",
        "volume of the target of lesion_id: of a PTV in one row and of a GTV in another, see \
         target_kind; for the volume of the tumour take gtv_volume_cc",
        Own("Volume[cc]")
    ),
    value!(
        "coverage",
        "",
        "1",
        "Coverage",
        "share of the target of lesion_id, 0 to 1, that receives at least its prescribed dose: 1 is \
         best",
        Own("Coverage")
    ),
    value!(
        "selectivity",
        "",
        "1",
        "Selectivity",
        "volume of the target of lesion_id that receives at least the prescribed dose, divided by \
         the volume of the whole connected region around it that does: 0 to 1, 1 is best. No value \
         (not_applicable) where that region holds another lesion too",
        Own("Selectivity")
    ),
    value!(
        "paddick_conformity",
        "",
        "1",
        "Paddick conformity index",
        "Paddick conformity index of the target of lesion_id: coverage times selectivity, 0 to 1, 1 \
         is best. No value where selectivity has none",
        Own("PaddickConformity")
    ),
    value!(
        "paddick_gradient",
        "",
        "1",
        "Paddick gradient index",
        "Paddick gradient index: volume of the connected region around the lesion that receives at \
         least half of the prescribed dose, divided by the volume of the region that receives at \
         least all of it; 1 or more, smaller is better. No value (not_applicable) where one of the \
         two regions holds another lesion too",
        Own("PaddickGradient")
    ),
    value!(
        "near_min",
        "_gy",
        "Gy",
        "Near-minimum dose (ICRU 91)",
        "near-minimum dose of the target of lesion_id, as in ICRU Report 91: D98% in a target of \
         2 cc or more (the same as d98_gy); in a smaller one the dose that all of it but the \
         coldest 0.035 cc receives at least. No value below 0.07 cc",
        Own("NearMin[Gy]")
    ),
    value!(
        "mean",
        "_gy",
        "Gy",
        "Mean dose",
        "mean dose of the target of lesion_id, all fractions together",
        Own("Mean[Gy]")
    ),
    value!(
        "near_max",
        "_gy",
        "Gy",
        "Near-maximum dose (ICRU 91)",
        "near-maximum dose of the target of lesion_id, as in ICRU Report 91: D2% in a target of \
         2 cc or more (the same as d2_gy); in a smaller one the dose that its hottest 0.035 cc \
         receive at least. No value below 0.035 cc",
        Own("NearMax[Gy]")
    ),
    value!(
        "d98",
        "_gy",
        "Gy",
        "D98%",
        "D98%: dose that 98 % of the volume of the target of lesion_id receive at least, whatever \
         its size; near_min_gy is the same from 2 cc on",
        Own("D98%[Gy]")
    ),
    value!(
        "d50",
        "_gy",
        "Gy",
        "D50%",
        "D50%, the median dose: dose that half of the volume of the target of lesion_id receives at \
         least",
        Own("D50%[Gy]")
    ),
    value!(
        "d2",
        "_gy",
        "Gy",
        "D2%",
        "D2%: dose that the hottest 2 % of the volume of the target of lesion_id receive at least, \
         whatever its size; near_max_gy is the same from 2 cc on",
        Own("D2%[Gy]")
    ),
    value!(
        "v12gy_nearest",
        "_cc",
        "cc",
        "V12Gy, part nearest to this lesion",
        "volume that receives at least 12 Gy and lies nearer to this lesion than to any other of \
         the plan: all tissue, not the brain alone, the target included; dose of all fractions \
         together, not converted to another number of fractions. The lesions of a plan may be added \
         up. Without a prescription it is not computed (not_applicable)",
        Own("V12GyNearest[cc]")
    ),
    value!(
        "v12gy_island",
        "_cc",
        "cc",
        "V12Gy, connected region",
        "volume of the connected region of at least 12 Gy that holds this lesion: all tissue, not \
         the brain alone, the target included; dose of all fractions together, not converted to \
         another number of fractions. Lesions in one region each show all of it: do not add them \
         up. Without a prescription it is not computed (not_applicable)",
        Own("V12GyIsland[cc]")
    ),
    value!(
        "brainstem_gap",
        "_mm",
        "mm",
        "Distance to the brainstem",
        "shortest distance from the surface of the target of lesion_id to the surface of Brainstem; \
         where they overlap it is negative: how deep one reaches into the other at most",
        Gap("Brainstem")
    ),
    value!(
        "brainstem_overlap",
        "_cc",
        "cc",
        "Overlap with the brainstem",
        "volume that the target of lesion_id and Brainstem have in common; 0 where they do not \
         overlap",
        Overlap("Brainstem")
    ),
    value!(
        "chiasm_gap",
        "_mm",
        "mm",
        "Distance to the optic chiasm",
        "shortest distance from the surface of the target of lesion_id to the surface of \
         OpticChiasm; where they overlap it is negative: how deep one reaches into the other at most",
        Gap("OpticChiasm")
    ),
    value!(
        "lesion_gap",
        "_mm",
        "mm",
        "Distance to the nearest other lesion",
        "shortest distance from the surface of the target of lesion_id to the surface of a target of \
         another lesion of the same plan; negative where they overlap; not_applicable in a plan with \
         one lesion",
        Nearest
    ),
];
