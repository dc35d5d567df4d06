"""Words that reports share: what each verdict means, and the cautions that go with every one."""

from __future__ import annotations

OUTCOMES = {
    "fail": "Take it out of service now.",
    "unclear": "Something contradicts, or cannot be read or judged: settle it; no pass tag until then.",
    "incomplete": "A needed test is missing: go back; no pass tag until then.",
    "pass": "All that these rules need was recorded and within limits.",
}
SIGNS = {"fail": "✗", "unclear": "?", "marginal": "!", "none": "–"}  # before a reading; a plain pass has none
READINGS = {  # what a reading does
    "pass": "passes", "marginal": "passes, with a caution", "unclear": "unclear", "fail": "fails", "none": "not judged",
}  # fmt: skip
COUNTED = {  # how many readings do it
    "pass": "pass", "marginal": "pass with a caution", "unclear": "unclear", "fail": "fail", "not_judged": "not judged",
}  # fmt: skip
UNDATED = {  # of a device without a date of its next test, by who reads
    "office": {"pass": "no date known", "fail": "withdraw", "unclear": "settle, below", "incomplete": "settle, below"},
    "client": {
        "pass": "no date known",
        "fail": "replace or repair",
        "unclear": "test again",
        "incomplete": "test again",
    },
}
SEVERITIES = {
    "danger": "A person may be hurt.",
    "error": "Something is wrong with the device or the sheet and must be settled.",
    "doubt": "A question about credibility: a reason to look, not proof.",
    "caution": "Act with it in mind.",
    "note": "Good to know.",
}
GRADES = {
    "A": "Nothing that was looked at stands against relying on the record.",
    "B": "Can be relied on, with small gaps.",
    "C": "Rely on it only after what is listed has been settled.",
    "D": "Not to be relied on.",
}
CAUTIONS = (
    "A passed record is no proof that a device is safe today: look it over and press its test button before use.",
    "These are checks of typed readings; they replace neither the inspection nor a competent person's judgement.",
    "Test only if competent and authorised, with an instrument in calibration, and isolate before work.",
    "Work on a fixed installation is for licensed electricians.",
    "Local law, the standard in force at your place, your regulator and your risk assessment come before this report.",
)
