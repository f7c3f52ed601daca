-- question: What was prescribed, by technology and number of fractions?
-- tables:   plans
-- units:    Gy
-- caution:  The highest prescription of each plan; plans without one are counted, not guessed.
SELECT technology, fractions_planned, COUNT(*) AS plans,
       COUNT(prescription_dose_gy) AS with_prescription,
       MIN(prescription_dose_gy) AS min_gy, MEDIAN(prescription_dose_gy) AS median_gy,
       MAX(prescription_dose_gy) AS max_gy
FROM plans
WHERE in_study
GROUP BY technology, fractions_planned
ORDER BY technology, fractions_planned NULLS LAST
