-- question: What makes the bounds wide: ends, slices, outlines, dose, cells?
-- tables:   bounds
-- units:    counts; share of the sum of squares in %
-- caution:  The terms are numerical only; they say which export would narrow the bounds, nothing of the patient.
-- set names: metrics = 'D0.03cc[Gy], V12Gy[cc], PaddickConformity, Volume[cc]'  metrics in TG-263 syntax
SELECT metric, COUNT(*) AS n_values,
       100 * AVG(ends * ends / (together * together)) AS ends,
       100 * AVG(slices * slices / (together * together)) AS slices,
       100 * AVG(chords * chords / (together * together)) AS chords,
       100 * AVG(dose * dose / (together * together)) AS dose,
       100 * AVG(summit * summit / (together * together)) AS summit,
       100 * AVG(cells * cells / (together * together)) AS cells,
       100 * AVG(step * step / (together * together)) AS step,
       100 * AVG(scatter * scatter / (together * together)) AS scatter,
       100 * AVG(chance * chance / (together * together)) AS chance
FROM bounds
WHERE metric IN ($names) AND together > 0
GROUP BY metric
ORDER BY metric
