-- question: In how many cases is the dose of an organ known, and why not in the others?
-- tables:   plans, metrics
-- units:    counts
-- caution:  An organ that is not contoured or not named is unknown, never free of dose.
-- set organ:  structure = Brainstem    standard name of the organ
-- set metric: metric    = D0.03cc[Gy]  metric in TG-263 syntax
WITH organ AS (
  SELECT plan_id, MIN(status) AS status
  FROM metrics
  WHERE structure = $organ AND metric = $metric
  GROUP BY plan_id
)
SELECT CASE WHEN NOT p.measured THEN 'case left out'
            WHEN NOT p.in_study THEN 'plan not in the study'
            WHEN o.status IS NULL THEN 'not contoured or not named'
            ELSE o.status END AS state,
       COUNT(*) AS cases, COUNT(DISTINCT p.patient_id) AS patients
FROM plans p
LEFT JOIN organ o ON p.plan_id = o.plan_id
WHERE p.plan_role <> 'follow_up'
GROUP BY state
ORDER BY cases DESC, state
