-- question: What was found wrong or doubtful, how often, and what does it do to the numbers?
-- tables:   findings
-- units:    counts
-- caution:  stop: refused; check: computed, but somebody should look; note: for the record.
SELECT severity, code, COUNT(*) AS findings, COUNT(DISTINCT plan_id) AS cases,
       MIN(consequence) AS consequence, MIN(action) AS action
FROM findings
GROUP BY severity, code
ORDER BY severity DESC, findings DESC, code
