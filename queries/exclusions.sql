-- question: What was left out, for which reason, and how many targets did that cost?
-- tables:   plans
-- units:    counts
-- caution:  A plan without code was measured and waits in choices.csv; a case left out has volumes at most.
SELECT exclusion_code, plan_role, COUNT(*) AS plans, COUNT(DISTINCT patient_id) AS patients,
       SUM(n_targets) AS targets
FROM plans
WHERE NOT in_study AND plan_role <> 'follow_up'
GROUP BY exclusion_code, plan_role
ORDER BY plans DESC, exclusion_code NULLS LAST, plan_role
