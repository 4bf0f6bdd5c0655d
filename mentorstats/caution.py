"""The one caution that stands wherever results are about people."""

CAUTION = (
    "For monitoring and rater training. Not a sole basis for any decision about a rater or a candidate; "
    "the programme's policy, local rules and licensed practice come first."
)
