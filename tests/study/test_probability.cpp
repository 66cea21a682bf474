// SPDX-License-Identifier: Apache-2.0
// Distribution functions against SciPy 1.10.1 (scipy.stats, scipy.special), to the digits it
// prints.
#include "study/probability.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

using namespace serosa::study;
using Catch::Matchers::WithinAbs;
using Catch::Matchers::WithinRel;

TEST_CASE("the normal law's distribution function and its inverse") {
  struct Row {
    double x, p;
  };
  // scipy.stats.norm.cdf
  for (const Row& row :
       {Row{-37, 5.7255712225239266e-300}, Row{-20, 2.7536241186061556e-89},
        Row{-8, 6.22096057427174e-16}, Row{-3.5, 0.00023262907903552502},
        Row{-3, 0.0013498980316300933}, Row{-2.9, 0.0018658133003840375},
        Row{-1, 0.15865525393145707}, Row{-0.1, 0.460172162722971}, Row{0, 0.5},
        Row{0.3, 0.6179114221889526}, Row{2.5, 0.9937903346742238}, Row{3, 0.9986501019683699},
        Row{4, 0.9999683287581669}, Row{6, 0.9999999990134123}}) {
    CAPTURE(row.x);
    // The stated error; SciPy's own is near 1e-15.
    CHECK_THAT(normal_cdf(row.x), WithinRel(row.p, 1e-12));
  }
  // scipy.stats.norm.ppf
  for (const Row& row :
       {Row{-37.0470962993612, 1e-300}, Row{-9.262340089798409, 1e-20},
        Row{-4.264890793922825, 1e-5}, Row{-2.3263478740408408, 0.01},
        Row{-0.8416212335729142, 0.2}, Row{0.2533471031357997, 0.6}, Row{1.4395314709384563, 0.925},
        Row{2.3263478740408408, 0.99}, Row{5.997807019601637, 1 - 1e-9}}) {
    CAPTURE(row.p);
    CHECK_THAT(normal_quantile(row.p), WithinRel(row.x, 4e-15));
  }
  CHECK(normal_quantile(0.5) == 0);
  CHECK(std::isinf(normal_quantile(0)));
  CHECK(std::isinf(normal_quantile(1)));
  CHECK(std::isnan(normal_quantile(1.5)));
  CHECK(std::isnan(normal_quantile(std::nan(""))));
}

TEST_CASE("gamma, beta, Student and binomial laws") {
  struct Gamma {
    double x, value;
  };
  // scipy.special.gammaln; absolute, as an error of the logarithm is a relative one of gamma.
  for (const Gamma& row : {Gamma{0.01, 4.599479878042022}, Gamma{0.5, 0.5723649429247}, Gamma{1, 0},
                           Gamma{2.5, 0.2846828704729192}, Gamma{10, 12.801827480081469},
                           Gamma{171, 706.5730622457875}})
    CHECK_THAT(log_gamma(row.x), WithinAbs(row.value, 1e-13 * std::max(1.0, row.value)));
  struct Beta {
    double x, a, b, value;
  };
  // scipy.special.betainc. The tolerance grows with a + b as the logarithms' rounding does.
  for (const Beta& row :
       {Beta{0.1, 2, 3, 0.0523}, Beta{0.5, 0.5, 0.5, 0.5}, Beta{0.9, 10, 2, 0.6973568802},
        Beta{0.01, 0.2, 5, 0.5846698531754058}, Beta{0.37, 400, 700, 0.6712151083515654},
        Beta{0.999, 30, 0.1, 0.2628106998890565}, Beta{0.3, 1e5, 2.3e5, 7.395467592496333e-05}}) {
    CAPTURE(row.x, row.a, row.b);
    CHECK_THAT(incomplete_beta(row.x, row.a, row.b),
               WithinRel(row.value, 1e-13 + 1e-14 * (row.a + row.b)));
  }
  // scipy.special.betaincinv, whose own error is about 1e-12.
  for (const Beta& row :
       {Beta{0.14255931671003072, 2, 3, 0.1}, Beta{0.5, 0.5, 0.5, 0.5},
        Beta{0.9505481528297315, 10, 2, 0.9}, Beta{1.4159249372753094e-16, 0.2, 5, 0.001},
        Beta{0.3538077878368133, 400, 700, 0.25}, Beta{0.016952427508441503, 1, 3, 0.05}}) {
    CAPTURE(row.value, row.a, row.b);
    CHECK_THAT(beta_quantile(row.value, row.a, row.b), WithinRel(row.x, 1e-11));
  }
  struct Student {
    double p, freedom, t;
  };
  // The tolerance grows as for the beta law below it.
  // Roots of scipy.stats.t.sf, by scipy.optimize.brentq: t.ppf itself has nine digits only.
  for (const Student& row :
       {Student{0.975, 1, 12.70620473617469}, Student{0.975, 2, 4.302652729749462},
        Student{0.975, 9, 2.262157162798205}, Student{0.95, 30, 1.6972608865939574},
        Student{0.1, 5, -1.47588404882448}, Student{0.975, 99999, 1.9599877077718444},
        Student{0.995, 1e6, 2.575834220105333}}) {
    CAPTURE(row.p, row.freedom);
    CHECK_THAT(student_quantile(row.p, row.freedom), WithinRel(row.t, 1e-12 + 1e-15 * row.freedom));
  }
  struct Binomial {
    double k, n, p, value;
  };
  // scipy.stats.binom.cdf
  for (const Binomial& row :
       {Binomial{0, 10, 0.1, 0.3486784401}, Binomial{3, 10, 0.5, 0.171875},
        Binomial{48, 1000, 0.05, 0.42201383886607474}, Binomial{500, 1000, 0.5, 0.5126125090891801},
        Binomial{4980, 100000, 0.05, 0.3893812041893757},
        Binomial{9, 10, 0.95, 0.4012630607616213}}) {
    CAPTURE(row.k, row.n, row.p);
    CHECK_THAT(binomial_cdf(row.k, row.n, row.p), WithinRel(row.value, 1e-10));
  }
  CHECK(binomial_cdf(-1, 10, 0.5) == 0);
  CHECK(binomial_cdf(10, 10, 0.5) == 1);
}
