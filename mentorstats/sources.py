"""The one bibliography: docstrings, tests, policies and reports cite these keys as ``[key]``.

``memory`` marks a reference whose details were written down from memory and wait to be checked
against the publication.
"""

from dataclasses import dataclass

from mentorstats.errors import ArgumentError


@dataclass(frozen=True, slots=True)
class Source:
    """One publication."""

    authors: str
    year: int
    title: str
    where: str
    memory: bool = False

    @property
    def short(self) -> str:
        """Surname and year, as a citation in running text."""
        names = [part.split(",")[0].strip() for part in self.authors.split(";")]
        lead = names[0] if len(names) == 1 else " & ".join(names) if len(names) == 2 else f"{names[0]} et al."
        return f"{lead} ({self.year})"

    @property
    def full(self) -> str:
        """One line of a reference list."""
        return f"{self.authors.replace(';', ',')} ({self.year}). {self.title}. {self.where}."


def source(key: str) -> Source:
    """Look up a key, or raise ArgumentError naming it."""
    try:
        return SOURCES[key]
    except KeyError:
        raise ArgumentError(
            f"no source {key!r} in the bibliography", remedy="Add it to mentorstats/sources.py."
        ) from None


SOURCES: dict[str, Source] = {
    "aera_2014": Source(
        "AERA; APA; NCME",
        2014,
        "Standards for Educational and Psychological Testing",
        "American Educational Research Association",
        memory=True,
    ),
    "albert_anderson_1984": Source(
        "Albert, A.; Anderson, J. A.",
        1984,
        "On the existence of maximum likelihood estimates in logistic regression models",
        "Biometrika 71, 1–10",
        memory=True,
    ),
    "altman_1991": Source(
        "Altman, D. G.",
        1991,
        "Practical Statistics for Medical Research",
        "Chapman and Hall",
        memory=True,
    ),
    "austin_2009": Source(
        "Austin, P. C.",
        2009,
        "Balance diagnostics for comparing the distribution of baseline covariates between treatment groups "
        "in propensity-score matched samples",
        "Statistics in Medicine 28, 3083–3107; abstract and discussion read",
    ),
    "austin_2009_prevalence": Source(
        "Austin, P. C.",
        2009,
        "Using the standardized difference to compare the prevalence of a binary variable between two groups "
        "in observational research",
        "Communications in Statistics: Simulation and Computation 38, 1228–1234; abstract read, which calls "
        "0.1 negligible",
    ),
    "balzer_sulsky_1992": Source(
        "Balzer, W. K.; Sulsky, L. M.",
        1992,
        "Halo and performance appraisal research: A critical examination",
        "Journal of Applied Psychology 77, 975–985",
        memory=True,
    ),
    "bartanen_kwok_2021": Source(
        "Bartanen, B.; Kwok, A.",
        2021,
        "Examining clinical teaching observation scores as a measure of preservice teacher quality",
        "American Educational Research Journal 58(5)",
        memory=True,
    ),
    "bates_2015": Source(
        "Bates, D.; Mächler, M.; Bolker, B.; Walker, S.",
        2015,
        "Fitting linear mixed-effects models using lme4",
        "Journal of Statistical Software 67(1), 1–48",
    ),
    "benjamini_hochberg_1995": Source(
        "Benjamini, Y.; Hochberg, Y.",
        1995,
        "Controlling the false discovery rate: a practical and powerful approach to multiple testing",
        "Journal of the Royal Statistical Society B 57, 289–300",
        memory=True,
    ),
    "berger_1982": Source(
        "Berger, R. L.",
        1982,
        "Multiparameter hypothesis testing and acceptance sampling",
        "Technometrics 24, 295–300",
        memory=True,
    ),
    "bhapkar_1966": Source(
        "Bhapkar, V. P.",
        1966,
        "A note on the equivalence of two test criteria for hypotheses in categorical data",
        "Journal of the American Statistical Association 61, 228–235",
        memory=True,
    ),
    "bland_altman_1986": Source(
        "Bland, J. M.; Altman, D. G.",
        1986,
        "Statistical methods for assessing agreement between two methods of clinical measurement",
        "The Lancet 327, 307–310",
        memory=True,
    ),
    "bland_altman_1999": Source(
        "Bland, J. M.; Altman, D. G.",
        1999,
        "Measuring agreement in method comparison studies",
        "Statistical Methods in Medical Research 8, 135–160; abstract read",
    ),
    "brennan_1998": Source(
        "Brennan, R. L.",
        1998,
        "Raw-score conditional standard errors of measurement in generalizability theory",
        "Applied Psychological Measurement 22, 307–331",
        memory=True,
    ),
    "brennan_2001": Source(
        "Brennan, R. L.",
        2001,
        "Generalizability Theory",
        "Springer",
        memory=True,
    ),
    "brennan_kane_1977": Source(
        "Brennan, R. L.; Kane, M. T.",
        1977,
        "An index of dependability for mastery tests",
        "Journal of Educational Measurement 14, 277–289",
        memory=True,
    ),
    "brennan_prediger_1981": Source(
        "Brennan, R. L.; Prediger, D. J.",
        1981,
        "Coefficient kappa: some uses, misuses, and alternatives",
        "Educational and Psychological Measurement 41, 687–699",
        memory=True,
    ),
    "byrt_1993": Source(
        "Byrt, T.; Bishop, J.; Carlin, J. B.",
        1993,
        "Bias, prevalence and kappa",
        "Journal of Clinical Epidemiology 46, 423–429",
    ),
    "cameron_2011": Source(
        "Cameron, A. C.; Gelbach, J. B.; Miller, D. L.",
        2011,
        "Robust inference with multiway clustering",
        "Journal of Business & Economic Statistics 29, 238–249",
        memory=True,
    ),
    "carkeet_2015": Source(
        "Carkeet, A.",
        2015,
        "Exact parametric confidence intervals for Bland-Altman limits of agreement",
        "Optometry and Vision Science 92, e71–e80; abstract read",
    ),
    "casabianca_2015": Source(
        "Casabianca, J. M.; Lockwood, J. R.; McCaffrey, D. F.",
        2015,
        "Trends in classroom observation scores",
        "Educational and Psychological Measurement 75(2), 311–337",
        memory=True,
    ),
    "cicchetti_1994": Source(
        "Cicchetti, D. V.",
        1994,
        "Guidelines, criteria, and rules of thumb for evaluating normed and standardized assessment "
        "instruments in psychology",
        "Psychological Assessment 6, 284–290",
        memory=True,
    ),
    "cicchetti_feinstein_1990": Source(
        "Cicchetti, D. V.; Feinstein, A. R.",
        1990,
        "High agreement but low kappa: II. Resolving the paradoxes",
        "Journal of Clinical Epidemiology 43, 551–558",
        memory=True,
    ),
    "cochran_1954": Source(
        "Cochran, W. G.",
        1954,
        "The combination of estimates from different experiments",
        "Biometrics 10, 101–129",
        memory=True,
    ),
    "cohen_1960": Source(
        "Cohen, J.",
        1960,
        "A coefficient of agreement for nominal scales",
        "Educational and Psychological Measurement 20, 37–46",
    ),
    "cohen_1968": Source(
        "Cohen, J.",
        1968,
        "Weighted kappa: nominal scale agreement with provision for scaled disagreement or partial credit",
        "Psychological Bulletin 70, 213–220",
    ),
    "cole_hernan_2008": Source(
        "Cole, S. R.; Hernán, M. A.",
        2008,
        "Constructing inverse probability weights for marginal structural models",
        "American Journal of Epidemiology 168, 656–664; abstract read",
    ),
    "conger_1980": Source(
        "Conger, A. J.",
        1980,
        "Integration and generalization of kappas for multiple raters",
        "Psychological Bulletin 88, 322–328",
    ),
    "cook_1986": Source(
        "Cook, R. D.",
        1986,
        "Assessment of local influence",
        "Journal of the Royal Statistical Society B 48, 133–169",
        memory=True,
    ),
    "cornfield_tukey_1956": Source(
        "Cornfield, J.; Tukey, J. W.",
        1956,
        "Average values of mean squares in factorials",
        "Annals of Mathematical Statistics 27, 907–949",
        memory=True,
    ),
    "cox_reid_1987": Source(
        "Cox, D. R.; Reid, N.",
        1987,
        "Parameter orthogonality and approximate conditional inference",
        "Journal of the Royal Statistical Society B 49, 1–39",
        memory=True,
    ),
    "cronbach_1955": Source(
        "Cronbach, L. J.",
        1955,
        "Processes affecting scores on 'understanding of others' and 'assumed similarity'",
        "Psychological Bulletin 52, 177–193",
        memory=True,
    ),
    "cronbach_1972": Source(
        "Cronbach, L. J.; Gleser, G. C.; Nanda, H.; Rajaratnam, N.",
        1972,
        "The Dependability of Behavioral Measurements",
        "Wiley",
        memory=True,
    ),
    "crowder_1987": Source(
        "Crowder, S. V.",
        1987,
        "A simple method for studying run-length distributions of exponentially weighted moving average "
        "charts",
        "Technometrics 29(4), 401–407",
        memory=True,
    ),
    "dempster_1959": Source(
        "Dempster, A. P.",
        1959,
        "Generalized D⁺ₙ statistics",
        "Annals of Mathematical Statistics 30, 593–597",
        memory=True,
    ),
    "drezner_wesolowsky_1990": Source(
        "Drezner, Z.; Wesolowsky, G. O.",
        1990,
        "On the computation of the bivariate normal integral",
        "Journal of Statistical Computation and Simulation 35, 101–107",
        memory=True,
    ),
    "dunn_smyth_1996": Source(
        "Dunn, P. K.; Smyth, G. K.",
        1996,
        "Randomized quantile residuals",
        "Journal of Computational and Graphical Statistics 5, 236–244",
        memory=True,
    ),
    "ed514095": Source(
        "Institute of Education Sciences",
        2010,
        "Statistical methods for protecting personally identifiable information in aggregate reporting",
        "ERIC ED514095, cited for the minimum reporting sizes in use in the states",
    ),
    "efron_1987": Source(
        "Efron, B.",
        1987,
        "Better bootstrap confidence intervals",
        "Journal of the American Statistical Association 82, 171–185",
        memory=True,
    ),
    "eliasziw_1994": Source(
        "Eliasziw, M.; Young, S. L.; Woodbury, M. G.; Fryday-Field, K.",
        1994,
        "Statistical methodology for the concurrent assessment of interrater and intrarater reliability: "
        "using goniometric measurements as an example",
        "Physical Therapy 74, 777–788",
        memory=True,
    ),
    "feinstein_cicchetti_1990": Source(
        "Feinstein, A. R.; Cicchetti, D. V.",
        1990,
        "High agreement but low kappa: I. The problems of two paradoxes",
        "Journal of Clinical Epidemiology 43, 543–549",
    ),
    "finn_1970": Source(
        "Finn, R. H.",
        1970,
        "A note on estimating the reliability of categorical data",
        "Educational and Psychological Measurement 30, 71–76",
        memory=True,
    ),
    "fleiss_1971": Source(
        "Fleiss, J. L.",
        1971,
        "Measuring nominal scale agreement among many raters",
        "Psychological Bulletin 76, 378–382",
    ),
    "fleiss_1981": Source(
        "Fleiss, J. L.",
        1981,
        "Statistical Methods for Rates and Proportions",
        "2nd edition, Wiley",
        memory=True,
    ),
    "fleiss_cohen_everitt_1969": Source(
        "Fleiss, J. L.; Cohen, J.; Everitt, B. S.",
        1969,
        "Large sample standard errors of kappa and weighted kappa",
        "Psychological Bulletin 72, 323–327",
    ),
    "gelman_2006": Source(
        "Gelman, A.",
        2006,
        "Prior distributions for variance parameters in hierarchical models",
        "Bayesian Analysis 1, 515–534",
        memory=True,
    ),
    "gilmour_1995": Source(
        "Gilmour, A. R.; Thompson, R.; Cullis, B. R.",
        1995,
        "Average information REML: an efficient algorithm for variance parameter estimation in linear "
        "mixed models",
        "Biometrics 51, 1440–1450",
        memory=True,
    ),
    "guo_wind_2021": Source(
        "Guo, W.; Wind, S. A.",
        2021,
        "An iterative parametric bootstrap approach to evaluating rater fit",
        "Applied Psychological Measurement 45, doi 10.1177/01466216211013105",
        memory=True,
    ),
    "gwet_2008": Source(
        "Gwet, K. L.",
        2008,
        "Computing inter-rater reliability and its variance in the presence of high agreement",
        "British Journal of Mathematical and Statistical Psychology 61, 29–48",
        memory=True,
    ),
    "gwet_2014": Source(
        "Gwet, K. L.", 2014, "Handbook of Inter-Rater Reliability", "4th edition, Advanced Analytics"
    ),
    "hannig_2006": Source(
        "Hannig, J.; Iyer, H.; Patterson, P.",
        2006,
        "Fiducial generalized confidence intervals",
        "Journal of the American Statistical Association 101, 254–269",
        memory=True,
    ),
    "hastie_2009": Source(
        "Hastie, T.; Tibshirani, R.; Friedman, J.",
        2009,
        "The Elements of Statistical Learning",
        "2nd edition, Springer",
        memory=True,
    ),
    "hausman_1978": Source(
        "Hausman, J. A.",
        1978,
        "Specification Tests in Econometrics",
        "Econometrica 46(6), 1251-1271",
        memory=True,
    ),
    "henderson_1975": Source(
        "Henderson, C. R.",
        1975,
        "Best linear unbiased estimation and prediction under a selection model",
        "Biometrics 31, 423–447",
        memory=True,
    ),
    "ho_kane_2013": Source(
        "Ho, A. D.; Kane, T. J.",
        2013,
        "The Reliability of Classroom Observations by School Personnel",
        "Bill & Melinda Gates Foundation, MET Project",
    ),
    "hopcroft_tarjan_1973": Source(
        "Hopcroft, J.; Tarjan, R.",
        1973,
        "Algorithm 447: efficient algorithms for graph manipulation",
        "Communications of the ACM 16(6), 372–378",
        memory=True,
    ),
    "kane_staiger_2012": Source(
        "Kane, T. J.; Staiger, D. O.",
        2012,
        "Gathering Feedback for Teaching",
        "Bill & Melinda Gates Foundation, MET Project",
        memory=True,
    ),
    "kass_steffey_1989": Source(
        "Kass, R. E.; Steffey, D.",
        1989,
        "Approximate Bayesian inference in conditionally independent hierarchical models",
        "Journal of the American Statistical Association 84, 717–726",
        memory=True,
    ),
    "kendall_smith_1939": Source(
        "Kendall, M. G.; Smith, B. Babington",
        1939,
        "The problem of m rankings",
        "The Annals of Mathematical Statistics 10, 275–287",
        memory=True,
    ),
    "kenward_roger_1997": Source(
        "Kenward, M. G.; Roger, J. H.",
        1997,
        "Small sample inference for fixed effects from restricted maximum likelihood",
        "Biometrics 53, 983–997",
        memory=True,
    ),
    "kish_1965": Source(
        "Kish, L.",
        1965,
        "Survey Sampling",
        "Wiley",
        memory=True,
    ),
    "klein_2020": Source(
        "Klein, M.; Wright, T.; Wieczorek, J.",
        2020,
        "A joint confidence region for an overall ranking of populations",
        "Journal of the Royal Statistical Society C 69, 589–606",
        memory=True,
    ),
    "koo_li_2016": Source(
        "Koo, T. K.; Li, M. Y.",
        2016,
        "A guideline of selecting and reporting intraclass correlation coefficients for reliability research",
        "Journal of Chiropractic Medicine 15, 155–163; abstract read, which has the bands",
    ),
    "kottner_2011": Source(
        "Kottner, J.; Audigé, L.; Brorson, S.; Donner, A.; Gajewski, B. J.; Hróbjartsson, A.; Roberts, C.; "
        "Shoukri, M.; Streiner, D. L.",
        2011,
        "Guidelines for Reporting Reliability and Agreement Studies (GRRAS) were proposed",
        "Journal of Clinical Epidemiology 64, 96–106; items read as reprinted in BMC Women's Health 13, 3",
    ),
    "krippendorff_2011": Source(
        "Krippendorff, K.",
        2011,
        "Computing Krippendorff's alpha-reliability",
        "University of Pennsylvania, Departmental Papers (ASC)",
    ),
    "lakens_2017": Source(
        "Lakens, D.",
        2017,
        "Equivalence tests: a practical primer for t tests, correlations, and meta-analyses",
        "Social Psychological and Personality Science 8, 355–362",
        memory=True,
    ),
    "landis_koch_1977": Source(
        "Landis, J. R.; Koch, G. G.",
        1977,
        "The measurement of observer agreement for categorical data",
        "Biometrics 33, 159–174",
    ),
    "li_redden_2015": Source(
        "Li, P.; Redden, D. T.",
        2015,
        "Comparing denominator degrees of freedom approximations for the generalized linear mixed model in "
        "analyzing binary outcome in small sample cluster-randomized trials",
        "BMC Medical Research Methodology 15, 38",
        memory=True,
    ),
    "liang_zeger_1986": Source(
        "Liang, K.-Y.; Zeger, S. L.",
        1986,
        "Longitudinal data analysis using generalized linear models",
        "Biometrika 73, 13–22; summary read",
    ),
    "lin_1997": Source(
        "Lin, X.",
        1997,
        "Variance component testing in generalised linear models with random effects",
        "Biometrika 84, 309–326",
        memory=True,
    ),
    "liu_pierce_1994": Source(
        "Liu, Q.; Pierce, D. A.",
        1994,
        "A note on Gauss-Hermite quadrature",
        "Biometrika 81, 624–629",
        memory=True,
    ),
    "lucas_saccucci_1990": Source(
        "Lucas, J. M.; Saccucci, M. S.",
        1990,
        "Exponentially weighted moving average control schemes: properties and enhancements",
        "Technometrics 32(1), 1–12",
        memory=True,
    ),
    "masters_1982": Source(
        "Masters, G. N.",
        1982,
        "A Rasch model for partial credit scoring",
        "Psychometrika 47, 149–174",
        memory=True,
    ),
    "maxwell_1970": Source(
        "Maxwell, A. E.",
        1970,
        "Comparing the classification of subjects by two independent judges",
        "British Journal of Psychiatry 116, 651–655",
        memory=True,
    ),
    "mcgraw_wong_1996": Source(
        "McGraw, K. O.; Wong, S. P.",
        1996,
        "Forming inferences about some intraclass correlation coefficients",
        "Psychological Methods 1, 30–46",
        memory=True,
    ),
    "mundlak_1978": Source(
        "Mundlak, Y.",
        1978,
        "On the pooling of time series and cross section data",
        "Econometrica 46, 69–85",
        memory=True,
    ),
    "naylor_smith_1982": Source(
        "Naylor, J. C.; Smith, A. F. M.",
        1982,
        "Applications of a method for the efficient computation of posterior distributions",
        "Applied Statistics 31, 214–225",
        memory=True,
    ),
    "nist_sematech_2012": Source(
        "NIST; SEMATECH",
        2012,
        "e-Handbook of Statistical Methods, section 6.3.2.4",
        "National Institute of Standards and Technology, doi:10.18434/M32189",
    ),
    "nocedal_2006": Source(
        "Nocedal, J.; Wright, S. J.",
        2006,
        "Numerical Optimization",
        "2nd edition, Springer",
        memory=True,
    ),
    "paule_mandel_1982": Source(
        "Paule, R. C.; Mandel, J.",
        1982,
        "Consensus values and weighting factors",
        "Journal of Research of the National Bureau of Standards 87(5), 377–385",
        memory=True,
    ),
    "pinheiro_bates_1995": Source(
        "Pinheiro, J. C.; Bates, D. M.",
        1995,
        "Approximations to the log-likelihood function in the nonlinear mixed-effects model",
        "Journal of Computational and Graphical Statistics 4, 12–35",
        memory=True,
    ),
    "pulakos_1986": Source(
        "Pulakos, E. D.; Schmitt, N.; Ostroff, C.",
        1986,
        "A warning about the use of a standard deviation across dimensions within ratees to measure halo",
        "Journal of Applied Psychology 71, 29–32",
        memory=True,
    ),
    "rao_1948": Source(
        "Rao, C. R.",
        1948,
        "Large sample tests of statistical hypotheses concerning several parameters with applications to "
        "problems of estimation",
        "Proceedings of the Cambridge Philosophical Society 44, 50–57",
        memory=True,
    ),
    "rao_scott_1984": Source(
        "Rao, J. N. K.; Scott, A. J.",
        1984,
        "On chi-squared tests for multiway contingency tables with cell proportions estimated from "
        "survey data",
        "Annals of Statistics 12, 46–60",
        memory=True,
    ),
    "roberts_1959": Source(
        "Roberts, S. W.",
        1959,
        "Control chart tests based on geometric moving averages",
        "Technometrics 1(3), 239–250",
        memory=True,
    ),
    "saal_1980": Source(
        "Saal, F. E.; Downey, R. G.; Lahey, M. A.",
        1980,
        "Rating the ratings: Assessing the psychometric quality of rating data",
        "Psychological Bulletin 88, 413–428",
        memory=True,
    ),
    "satterthwaite_1946": Source(
        "Satterthwaite, F. E.",
        1946,
        "An approximate distribution of estimates of variance components",
        "Biometrics Bulletin 2, 110–114",
        memory=True,
    ),
    "schuirmann_1987": Source(
        "Schuirmann, D. J.",
        1987,
        "A comparison of the two one-sided tests procedure and the power approach for assessing the "
        "equivalence of average bioavailability",
        "Journal of Pharmacokinetics and Biopharmaceutics 15, 657–680",
        memory=True,
    ),
    "scott_1955": Source(
        "Scott, W. A.",
        1955,
        "Reliability of content analysis: the case of nominal scale coding",
        "Public Opinion Quarterly 19, 321–325",
        memory=True,
    ),
    "self_liang_1987": Source(
        "Self, S. G.; Liang, K.-Y.",
        1987,
        "Asymptotic properties of maximum likelihood estimators and likelihood ratio tests under "
        "nonstandard conditions",
        "Journal of the American Statistical Association 82, 605–610",
        memory=True,
    ),
    "shewhart_1931": Source(
        "Shewhart, W. A.",
        1931,
        "Economic Control of Quality of Manufactured Product",
        "Van Nostrand",
        memory=True,
    ),
    "shrout_fleiss_1979": Source(
        "Shrout, P. E.; Fleiss, J. L.",
        1979,
        "Intraclass correlations: uses in assessing rater reliability",
        "Psychological Bulletin 86, 420–428; abstract read",
    ),
    "siegel_1956": Source(
        "Siegel, S.",
        1956,
        "Nonparametric Statistics for the Behavioral Sciences",
        "McGraw-Hill",
        memory=True,
    ),
    "stoer_wagner_1997": Source(
        "Stoer, M.; Wagner, F.",
        1997,
        "A simple min-cut algorithm",
        "Journal of the ACM 44(4), 585–591",
        memory=True,
    ),
    "stram_lee_1994": Source(
        "Stram, D. O.; Lee, J. W.",
        1994,
        "Variance components testing in the longitudinal mixed effects model",
        "Biometrics 50, 1171–1177",
        memory=True,
    ),
    "stuart_1955": Source(
        "Stuart, A.",
        1955,
        "A test for homogeneity of the marginal distributions in a two-way classification",
        "Biometrika 42, 412–416",
        memory=True,
    ),
    "subkoviak_1976": Source(
        "Subkoviak, M. J.",
        1976,
        "Estimating reliability from a single administration of a criterion-referenced test",
        "Journal of Educational Measurement 13, 265–276",
        memory=True,
    ),
    "takahashi_1973": Source(
        "Takahashi, K.; Fagan, J.; Chin, M.-S.",
        1973,
        "Formation of a sparse bus impedance matrix and its application to short circuit study",
        "Proceedings of the 8th PICA Conference, Minneapolis, 63–69",
        memory=True,
    ),
    "ten_hove_2024": Source(
        "ten Hove, D.; Jorgensen, T. D.; van der Ark, L. A.",
        2024,
        "Updated guidelines on selecting an intraclass correlation coefficient for interrater reliability, "
        "with applications to incomplete observational designs",
        "Psychological Methods 29, 967–979",
    ),
    "ten_hove_2025": Source(
        "ten Hove, D.; Jorgensen, T. D.; van der Ark, L. A.",
        2025,
        "How to estimate intraclass correlation coefficients for interrater reliability from planned "
        "incomplete data",
        "Multivariate Behavioral Research 60, 1042–1061",
    ),
    "tierney_kadane_1986": Source(
        "Tierney, L.; Kadane, J. B.",
        1986,
        "Accurate approximations for posterior moments and marginal densities",
        "Journal of the American Statistical Association 81, 82–86",
        memory=True,
    ),
    "ting_1990": Source(
        "Ting, N.; Burdick, R. K.; Graybill, F. A.; Jeyaratnam, S.; Lu, T.-F. C.",
        1990,
        "Confidence intervals on linear combinations of variance components that are unrestricted in sign",
        "Journal of Statistical Computation and Simulation 35, 135–143",
        memory=True,
    ),
    "venzon_moolgavkar_1988": Source(
        "Venzon, D. J.; Moolgavkar, S. H.",
        1988,
        "A method for computing profile-likelihood-based confidence intervals",
        "Applied Statistics 37, 87–94",
        memory=True,
    ),
    "viechtbauer_2007": Source(
        "Viechtbauer, W.",
        2007,
        "Confidence intervals for the amount of heterogeneity in meta-analysis",
        "Statistics in Medicine 26, 37–52",
        memory=True,
    ),
    "wcag_2023": Source(
        "World Wide Web Consortium",
        2023,
        "Web Content Accessibility Guidelines (WCAG) 2.2",
        "W3C Recommendation, relative luminance and contrast ratio",
        memory=True,
    ),
    "weeks_williams_1964": Source(
        "Weeks, D. L.; Williams, D. R.",
        1964,
        "A note on the determination of connectedness in an N-way cross classification",
        "Technometrics 6(3), 319–324",
        memory=True,
    ),
    "weerahandi_1993": Source(
        "Weerahandi, S.",
        1993,
        "Generalized confidence intervals",
        "Journal of the American Statistical Association 88, 899–905",
        memory=True,
    ),
    "white_2018": Source(
        "White, M. C.",
        2018,
        "Rater performance standards for classroom observation instruments",
        "Educational Researcher 47(8), 492–501; abstract read",
    ),
    "wilson_hilferty_1931": Source(
        "Wilson, E. B.; Hilferty, M. M.",
        1931,
        "The distribution of chi-square",
        "Proceedings of the National Academy of Sciences 17, 684–688",
        memory=True,
    ),
    "wright_masters_1982": Source(
        "Wright, B. D.; Masters, G. N.",
        1982,
        "Rating Scale Analysis",
        "MESA Press",
        memory=True,
    ),
}
