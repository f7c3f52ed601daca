-- question: What goes into the first table of a paper, by technology, with missing counts?
-- tables:   plans, structures
-- units:    counts, cc, Gy
-- caution:  Lesions are single targets (role gtv); a gap is counted in its own column.
WITH targets AS (
  SELECT plan_id, COUNT(*) AS n, COUNT(volume_cc) AS measured, SUM(volume_cc) AS total_cc
  FROM structures
  WHERE role = 'gtv'
  GROUP BY plan_id
)
SELECT p.technology, COUNT(DISTINCT p.patient_id) AS patients, COUNT(*) AS plans,
       SUM(l.n) AS n_lesions, SUM(l.n) - SUM(l.measured) AS lesions_without_volume,
       MEDIAN(l.total_cc) AS total_volume_median_cc,
       PERCENTILE_CONT(l.total_cc, 0.25) AS total_volume_q1_cc,
       PERCENTILE_CONT(l.total_cc, 0.75) AS total_volume_q3_cc,
       SUM(CASE WHEN p.fractions_planned = 1 THEN 1 ELSE 0 END) AS single_fraction,
       SUM(CASE WHEN p.fractions_planned IS NULL THEN 1 ELSE 0 END) AS fractions_missing,
       MEDIAN(p.prescription_dose_gy) AS prescription_median_gy,
       SUM(CASE WHEN p.prescription_dose_gy IS NULL THEN 1 ELSE 0 END) AS prescription_missing
FROM plans p
LEFT JOIN targets l ON p.plan_id = l.plan_id
WHERE p.measured
GROUP BY p.technology
ORDER BY p.technology
