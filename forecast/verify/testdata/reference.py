"""Scores of small invented cases by general libraries, for TestAgainstGeneralLibraries.

Run with the system Python of Debian 12 (python3-numpy 1.24.2, python3-scipy
1.10.1, python3-sklearn 1.2.1) and, for the last figure, r-cran-proc 1.18.0:

    /usr/bin/python3 reference.py > reference.json

Libraries: scikit-learn (Pedregosa et al. 2011, JMLR 12, 2825-2830), SciPy
(Virtanen et al. 2020, Nature Methods 17, 261-272), pROC (Robin et al. 2011,
BMC Bioinformatics 12, 77).
"""
import json, subprocess
import numpy as np
from scipy import integrate, stats
from sklearn import isotonic, metrics

rng = np.random.default_rng(20240605)
cases = []
for n, decimals in [(12, 1), (60, 1), (200, 2), (200, 6)]:
    p = np.clip(np.round(rng.beta(1, 2, n), decimals), 0.01, 0.99)
    y = (rng.random(n) < p ** 1.3).astype(int)
    c = isotonic.IsotonicRegression(y_min=0, y_max=1).fit_transform(p, y)
    fpr, tpr, thr = metrics.roc_curve(y, p, drop_intermediate=False)
    u = stats.mannwhitneyu(p[y == 1], p[y == 0], alternative="greater", method="asymptotic")
    proc = subprocess.run(["Rscript", "-e", 'suppressMessages(library(pROC)); p<-c(%s); y<-c(%s); cat(sprintf("%%.15g", as.numeric(auc(roc(y,p,direction="<",levels=c(0,1),quiet=TRUE)))))' % (
        ",".join(map(repr, p.tolist())), ",".join(map(str, y.tolist())))], capture_output=True, text=True, check=True).stdout
    cases.append(dict(p=p.tolist(), y=y.tolist(),
        brier=metrics.brier_score_loss(y, p), log=metrics.log_loss(y, p), auc=metrics.roc_auc_score(y, p),
        auc_r=float(proc), p_value=u.pvalue, isotonic=c.tolist(), brier_isotonic=metrics.brier_score_loss(y, c),
        hit=tpr[1:].tolist(), alarm=fpr[1:].tolist(), threshold=thr[1:].tolist()))

ensembles = []
for m in [1, 2, 5, 20, 200]:
    x = np.round(rng.gamma(9, 4, m) + 120, 1)
    for y in [100.0, 150.0, float(x[0]), 171.3]:
        ensembles.append(dict(y=y, x=x.tolist(), crps=stats.energy_distance(x, [y]) ** 2 / 2,
            q=[float(np.quantile(x, q)) for q in (0, 0.1, 0.5, 0.9, 1)],
            pinball=[float(metrics.mean_pinball_loss([y], [np.quantile(x, q)], alpha=q)) for q in (0.1, 0.5, 0.9)]))

def crps_by_integral(cdf, y, lo, hi):
    f = lambda a, b, g: integrate.quad(g, a, b, epsabs=1e-13, epsrel=1e-13, limit=400)[0]
    return f(lo, y, lambda t: cdf(t) ** 2) + f(y, hi, lambda t: (1 - cdf(t)) ** 2)

closed = []
for y in (121.0, 140.3, 155.0):
    for name, d, par in [("normal", stats.norm(140, 9), [140, 9]), ("logistic", stats.logistic(140, 5), [140, 5]),
                         ("lognormal", stats.lognorm(0.1, scale=np.exp(4.9)), [4.9, 0.1]),
                         ("gamma", stats.gamma(80, scale=1 / 0.6), [80, 0.6]), ("student", stats.t(6, 140, 8), [140, 8, 6])]:
        closed.append(dict(family=name, y=y, par=par, crps=crps_by_integral(d.cdf, y, *(d.ppf(1e-17) - 50 if name in ("normal", "logistic") else d.ppf(1e-13), d.isf(1e-13) + (50 if name in ("normal", "logistic") else 0))), log=-d.logpdf(y)))

intervals = []
for k, n in [(0, 5), (3, 10), (16, 20), (80, 100), (10, 10)]:
    ci = stats.binomtest(k, n).proportion_ci(0.95, method="wilson")
    intervals.append(dict(k=k, n=n, low=ci.low, high=ci.high))
bars = [dict(n=n, p=p, low=int(stats.binom.ppf(0.025, n, p)), high=int(stats.binom.ppf(0.975, n, p)))
        for n in (1, 7, 40, 333) for p in (0.02, 0.1, 0.5, 0.77, 0.95)]
counts = [3, 7, 5, 2, 9, 4]
chi = stats.chisquare(counts)
json.dump(dict(cases=cases, ensembles=ensembles, closed=closed, intervals=intervals, bars=bars,
               flat=dict(counts=counts, chi2=chi.statistic, p=chi.pvalue)), open("/dev/stdout", "w"))
