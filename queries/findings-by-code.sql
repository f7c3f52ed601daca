-- question: What was found wrong or doubtful, how often, and what does it do to the numbers?
-- tables:   findings, finding_details
-- units:    counts
-- caution:  stop: refused; check: computed, but somebody should look; note: for the record. One cause is one
--           finding, however many structures, plans or files it reaches (details).
WITH reach AS (
  SELECT code, COUNT(*) AS details, COUNT(DISTINCT plan_id) AS cases
  FROM finding_details
  GROUP BY code
)
SELECT f.severity, f.code, COUNT(*) AS findings, MIN(r.details) AS details, MIN(r.cases) AS cases,
       MIN(f.consequence) AS consequence, MIN(f.action) AS action
FROM findings f
JOIN reach r ON f.code = r.code
GROUP BY f.severity, f.code
ORDER BY f.severity DESC, findings DESC, f.code
