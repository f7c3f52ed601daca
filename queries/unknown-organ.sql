-- question: For which cases is nothing known of an organ against its limits, and why?
-- tables:   limit_checks, plans
-- units:    counts of limits
-- caution:  Unknown is not counted as within; the reason says whether a person can settle it.
-- set organ: structure = Brainstem  standard name of the organ
SELECT c.patient_id, c.plan_id, p.technology, c.fractions, p.measured, c.reason,
       COUNT(*) AS limits
FROM limit_checks c
JOIN plans p ON c.plan_id = p.plan_id
WHERE c.structure = $organ AND c.verdict = 'unknown'
GROUP BY c.patient_id, c.plan_id, p.technology, c.fractions, p.measured, c.reason
ORDER BY c.reason, c.plan_id
