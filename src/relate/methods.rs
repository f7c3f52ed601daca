//! How a relation is estimated, in sentences with the marks of what they cite; `references.bib` has the
//! entries.

use super::Request;
use tidydose_table::citations::bibliography;

/// The methods of the folder.
pub(super) const METHODS: &str = "\
Rates have exact intervals [@clopper1934], where patients have several rows for the effective number
that this leaves [@korn1998]. The dose-response model is logistic by Firth's penalised likelihood
[@firth1993; @heinze2002] with profile intervals, its risks with a corrected intercept (FLIC)
[@puhr2017]; linearity is tested by restricted cubic splines, and discrimination and calibration are
stated without the optimism that the bootstrap shows [@harrell1996]. Where patients have several rows,
intervals are percentiles of draws of patients with all their rows [@efron1979]. Areas under the curve
are those of Hanley and McNeil [@hanley1982], the cut that is shown has the largest index of Youden
[@youden1950]. Those with and without the event are compared by the shift of Hodges and Lehmann
[@hodges1963] with the rank sum test [@mann1947], groups by standardised differences [@austin2009].
Cumulative incidence with death as the competing event is that of Aalen and Johansen [@aalen1978] with
the variance of Dinse and Larson [@dinse1986]; survival is that of Kaplan and Meier [@kaplan1958] with
Greenwood's variance [@greenwood1926], the interval of its median that of Brookmeyer and Crowley
[@brookmeyer1982], follow-up by the reverse method [@schemper1996], groups by the log-rank test
[@mantel1966]. In a study of several centres the
model is fitted to each, and the estimates are put together by random effects [@dersimonian1986] with
the interval of Hartung and Knapp [@hartung2001]; how much centres differ is told by I²
[@higgins2002] and by the interval in which one more centre is expected [@higgins2009]. Intervals are of 95 %, tests two-sided and not corrected for their number. The report
follows STROBE [@vonelm2007].";

/// `references.bib`.
pub(super) fn references(request: &Request) -> Vec<u8> {
    let [program, version] = &request.program;
    bibliography([program, version], METHODS).into_bytes()
}

#[cfg(test)]
mod tests {
    use super::super::Grain;
    use super::super::example::request;
    use super::*;
    use tidydose_table::citations::{is_known, marks};

    #[test]
    fn every_mark_has_its_entry_and_the_program_its_version() {
        assert!(marks(METHODS).into_iter().all(is_known));
        let text = String::from_utf8(references(&request(Grain::Patient))).unwrap();
        assert_eq!(text.matches("\n@article{").count(), marks(METHODS).len());
        assert!(text.contains("version = {0.0}"), "{text}");
    }
}
