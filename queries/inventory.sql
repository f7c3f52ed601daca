-- question: How many patients, plans and targets are there for each technology and period?
-- tables:   plans
-- units:    counts
-- caution:  A plan here is a case; one that was left out is counted under plans, not under measured.
SELECT technology, era, COUNT(DISTINCT patient_id) AS patients, COUNT(*) AS plans,
       SUM(CASE WHEN measured THEN 1 ELSE 0 END) AS measured, SUM(n_targets) AS targets
FROM plans
WHERE plan_role <> 'follow_up'
GROUP BY technology, era
ORDER BY technology, era NULLS LAST
