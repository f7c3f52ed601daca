-- question: What was left out, for which reason, and how many targets did that cost?
-- tables:   plans
-- units:    counts
-- caution:  A case left out has no doses in any answer; its volumes may still be there.
SELECT exclusion_code, COUNT(*) AS plans, COUNT(DISTINCT patient_id) AS patients,
       SUM(n_targets) AS targets
FROM plans
WHERE NOT measured
GROUP BY exclusion_code
ORDER BY plans DESC, exclusion_code
