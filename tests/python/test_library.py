# SPDX-License-Identifier: Apache-2.0
"""Parameters, outputs and explanations, against the program's own answers."""
import json
import unittest

import serosa
from program import MODELS, serosa as program


class Library(unittest.TestCase):
    def test_parameters(self):
        told, _ = program("explain", "--all", "--json")
        of_program = json.loads(told)["parameters"]
        table = serosa.parameters(models=MODELS)
        self.assertEqual(list(table.index), [p["name"] for p in of_program])
        for p in of_program:
            for key in ("value", "unit", "low", "high", "distribution", "grade", "source", "where",
                        "reference", "note", "value_in_model", "unit_in_model"):
                self.assertEqual(table.loc[p["name"], key], p[key], (p["name"], key))
        self.assertEqual(table.attrs["caution"], serosa.caution)

    def test_outputs(self):
        told, _ = program("explain", "--outputs", "--json")
        table = serosa.outputs()
        self.assertEqual([(o["name"], o["unit"], o["meaning"])
                          for o in json.loads(told)["outputs"]],
                         [(name, row.unit, row.meaning) for name, row in table.iterrows()])

    def test_explanations(self):
        text = str(serosa.explain("dried_serosa_resistance", models=MODELS))
        told, _ = program("explain", "dried_serosa_resistance")
        for word in ("value", "range", "grade", "source"):
            line = next(line for line in told.splitlines() if line.strip().startswith(word))
            found = next(line for line in text.splitlines() if line.strip().startswith(word))
            # The program adds what the words mean, and wraps elsewhere.
            self.assertEqual(line.replace(":", "").split()[:2], found.split()[:2])
        film = serosa.explain("polyethylene-film", models=MODELS)
        self.assertIn("permeance", film.numbers.index)
        self.assertIn("Blood volume missing", str(serosa.explain("circulating_deficit")))
        for wrong, near in (("dried_serosa_resistence", "dried_serosa_resistance"),
                            ("urin", "urine"), ("polyethylen-film", "polyethylene-film")):
            with self.assertRaisesRegex(serosa.InputError, f"did you mean {near}"):
                serosa.explain(wrong, models=MODELS)


if __name__ == "__main__":
    unittest.main()
