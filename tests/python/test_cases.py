# SPDX-License-Identifier: Apache-2.0
"""Cases from files, dictionaries and changes: the same reader, the same texts."""
import contextlib
import os
import pathlib
import tempfile
import unittest
import warnings

import numpy
import serosa
from program import MODELS, same_bits, serosa as program

WRONG = {"title": "Wrong", "until": "six hours", "baby": {"weigth": "2.5 kg", "gestation": 36},
         "bowel": {"herniated": "180 %"}, "timeline": {"wrap": {"act": "cover", "at": "3 min",
                                                                "with": "poliethylene-film"}}}


def message(function, *arguments, **named):
    try:
        function(*arguments, **named)
    except serosa.InputError as refusal:
        return str(refusal)
    raise AssertionError("nothing was refused")


@contextlib.contextmanager
def inside_new_folder():
    with tempfile.TemporaryDirectory() as folder:
        before = os.getcwd()
        os.chdir(folder)
        try:
            yield pathlib.Path(folder)
        finally:
            os.chdir(before)


class Cases(unittest.TestCase):
    def test_a_dictionary_is_read_like_a_file(self):
        dictionary = {"based_on": "cases/wrapped.yaml", "title": 'Late: "20 min" # really',
                      "report_at": ["1 h", "2 h"], "until": "2 h",
                      "timeline": {"wrap": {"at": "20 min", "layers": numpy.int64(2)},
                                   "hat": "remove"},
                      "parameters": {"spread": 0.4}}
        late = serosa.case(dictionary, name="late", models=MODELS)
        self.assertEqual(late.title, dictionary["title"])
        self.assertEqual((late.name, late.until, late.report_times), ("late", 2.0, [1.0, 2.0]))
        with inside_new_folder() as folder:
            (folder / "late.yaml").write_text(serosa._yaml_text.document(dictionary))
            program("run", "late.yaml", "--out", "out", "--quiet")
            with serosa.open_results("out") as of_program:
                self.assertEqual(same_bits(of_program.load(), serosa.run(late)), "")
            # based_on looks into the current folder, as it would for a file there.
            of_file = serosa.case({"based_on": "late.yaml"}, name="other", models=MODELS)
            self.assertEqual(of_file.yaml(), late.yaml())

    def test_errors_have_the_programs_text(self):
        with inside_new_folder() as folder:
            text = serosa._yaml_text.document(WRONG)
            (folder / "case.yaml").write_text(text)
            _, of_program = program("run", "case.yaml", code=3)
            self.assertEqual(message(serosa.case, WRONG, models=MODELS), of_program)
            self.assertEqual(message(serosa.case, "case.yaml", models=MODELS), of_program)
            for word in ("six hours", "did you mean weight?", "180 %", "polyethylene-film"):
                self.assertIn(word, of_program)
            _, of_program = program("run", "nowhere.yaml", code=3)
            self.assertEqual(message(serosa.case, "nowhere.yaml", models=MODELS), of_program)
        try:
            serosa.case(WRONG, models=MODELS)
        except serosa.InputError as refusal:
            self.assertIsInstance(refusal, ValueError)
            self.assertIsInstance(refusal, serosa.Error)
            problems = {p.path: p for p in refusal.problems}
        self.assertEqual((problems["until"].source, problems["until"].line), ("case.yaml", 2))
        self.assertFalse(problems["until"].warning)

    def test_errors_of_changes_have_the_programs_text(self):
        wrapped = serosa.case("wrapped", models=MODELS)
        for path, value in (("timeline.wrap.seal", "15"), ("timeline.wrap.sael", "15 %"),
                            ("baby", "heavy"), ("timeline.hut", "remove"), ("until", "")):
            with self.subTest(path):
                _, of_program = program("run", MODELS / "cases" / "wrapped.yaml", "--set",
                                        f"{path}={value}", code=3)
                self.assertEqual(message(wrapped.with_, {path: value}), of_program)

    def test_a_change_leaves_the_case_as_it_was(self):
        wrapped = serosa.case("wrapped", models=MODELS)
        before = wrapped.yaml()
        late = wrapped.with_({"timeline.wrap.at": "20 min"})
        self.assertEqual(wrapped.yaml(), before)
        self.assertNotEqual(late.yaml(), before)
        self.assertEqual(late.with_({"timeline.wrap.at": "3 min"}).yaml(), before)
        self.assertIn(serosa.caution, before)

    def test_what_is_no_case_is_refused(self):
        with self.assertRaisesRegex(TypeError, r"baby\.weight.*object"):
            serosa.case({"baby": {"weight": object()}}, models=MODELS)
        with self.assertRaisesRegex(TypeError, "key must be a text"):
            serosa.case({"baby": {1: "2 kg"}}, models=MODELS)
        self.assertIn("no folder", message(serosa.case, "wrapped", models="nowhere"))
        for hostile in ("a\nb", "\x1b[31m", "remove", "[1", "{", "~", "* a", "\u2028", "null", ""):
            with self.subTest(repr(hostile)):
                try:
                    title = serosa.case({"based_on": "cases/wrapped.yaml", "title": hostile},
                                        models=MODELS).title
                except serosa.InputError:
                    continue
                if hostile != "remove":  # takes the title away, as in a file
                    self.assertEqual(title, hostile)

    def test_what_lies_outside_the_published_range_is_warned_about(self):
        change = {"bowel.thickening": 2.9}
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            serosa.case("wrapped", models=MODELS).with_(change)
        told = [str(w.message) for w in caught if w.category is serosa.InputWarning]
        self.assertEqual(len(told), 1)
        with tempfile.TemporaryDirectory() as folder:
            printed, _ = program("run", MODELS / "cases" / "wrapped.yaml", "--set",
                                 "bowel.thickening=2.9", "--out", f"{folder}/out")
        # The table says it in one line, the exception beside the input.
        said = 'bowel.thickening: "2.9" lies outside the published range'
        self.assertIn(said, told[0])
        self.assertIn(said, " ".join(printed.split()))


if __name__ == "__main__":
    unittest.main()
