-- question: How closely do two metrics of the same structures go together?
-- tables:   metrics, plans
-- units:    correlation coefficient of ranks and of values
-- caution:  Metrics of one dose distribution are nearly always correlated; choose one before looking at outcomes.
-- set structure: structure = Brain      standard name
-- set first:     metric    = V12Gy[cc]  metric in TG-263 syntax
-- set second:    metric    = Mean[Gy]   metric in TG-263 syntax
-- set fractions: integer   = 1          fractions planned
WITH pairs AS (
  SELECT a.value AS x, b.value AS y, RANK() OVER (ORDER BY a.value) AS rank_x,
         RANK() OVER (ORDER BY b.value) AS rank_y
  FROM metrics a
  JOIN metrics b ON a.structure_id = b.structure_id
  JOIN plans p ON a.plan_id = p.plan_id
  WHERE a.structure = $structure AND a.metric = $first AND b.metric = $second
    AND a.status = 'ok' AND b.status = 'ok' AND p.fractions_planned = $fractions
    AND p.in_study
),
summary AS (
  SELECT COUNT(*) AS pairs_used, CORR(x, y) AS pearson, CORR(rank_x, rank_y) AS spearman_no_ties
  FROM pairs
)
SELECT * FROM summary ORDER BY pairs_used
