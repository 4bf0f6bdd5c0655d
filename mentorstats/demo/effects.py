"""What is planted, and how much of it: every size is on the latent scale of the ratings, in logits."""

from dataclasses import dataclass

RESIDUAL_VARIANCE = 3.2898681336964528  # π²/3, the variance of a standard logistic
MIDDLE_WEEK = 7.5  # change, drift and slopes are counted from here
CRITERION_SD = 0.6  # spread of the criteria's difficulty
BASE_THRESHOLDS = (-3.6, -0.5, 2.8)  # of a criterion of middling difficulty
THRESHOLD_SD = 0.15  # each threshold's own departure from them
REWORDED_SHIFT = 0.7  # the reworded criterion is that much harder under version 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Effects:
    """Sizes of the planted effects.

    A rating's latent judgement is the sum of its effects and a logistic residual; its level is one
    more than the number of thresholds of its criterion that lie below. The standard deviations give
    shares of about 28 % candidate, 8 % lesson, 9 % rater, 6 % rater × criterion and 48 % residual: the
    order of magnitude of teachers in service (.37, .10, .06 and .43 of a score, [kane_staiger_2012]),
    with less of the candidate and more of the rater, as before certification [bartanen_kwok_2021].

    Attributes
    ----------
    candidate, lesson, rater, rater_criterion
        Standard deviations of the crossed effects, in logits.
    candidate_slope
        Standard deviation of the candidates' own change a week, in logits.
    change_per_week
        Mean change a week, in logits.
    cohorts
        Mean of each cycle against the first, in logits.
    own_mentor
        Added when the rater is the candidate's own mentor, in logits; about 0.15 level. That school
        administrators rate their own teachers .1 to .2 level higher [ho_kane_2013] gives the order
        of magnitude only.
    severities
        One planted rater each, in standard deviations of raters: negative is severe.
    drifts
        One planted rater each, in logits a week.
    stretches
        One planted rater each: thresholds lie that many times as far from their mean, so that
        levels bunch in the middle.
    halos
        One planted rater each: correlation of the criteria's residuals within one form.
    rater_bias
        What one supervisor, with nothing else planted, adds for career changers against school leavers,
        in logits. Half of it goes to each group, so that severity stays.
    criterion_bias
        The same of all raters on one criterion.
    """

    candidate: float = 1.40
    candidate_slope: float = 0.04
    lesson: float = 0.75
    rater: float = 0.80
    rater_criterion: float = 0.65
    change_per_week: float = 0.08
    cohorts: tuple[float, float, float] = (0.0, 0.8, 0.8)
    own_mentor: float = 0.5
    severities: tuple[float, ...] = (-2.5, -2.0, 2.5)
    drifts: tuple[float, ...] = (-0.18,)
    stretches: tuple[float, ...] = (1.6,)
    halos: tuple[float, ...] = (0.9,)
    rater_bias: float = -1.6
    criterion_bias: float = -0.8

    @property
    def variances(self) -> dict[str, float]:
        """Variance of each component at the middle week, in squared logits, the residual last."""
        return {
            "candidate": self.candidate**2,
            "lesson": self.lesson**2,
            "rater": self.rater**2,
            "rater × criterion": self.rater_criterion**2,
            "residual": RESIDUAL_VARIANCE,
        }
