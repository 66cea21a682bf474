// SPDX-License-Identifier: Apache-2.0
// Every contradiction is found, with both acts where two take part.
#include <catch2/catch.hpp>

#include "care/case.hpp"

namespace serosa::care {
namespace {

constexpr std::size_t nothing = Contradiction::npos;

Case with(std::vector<Act> timeline, bool exposed = true) {
  Case c;
  c.exposed = exposed;
  c.until = 24;
  c.timeline = std::move(timeline);
  return c;
}

/// Exactly one contradiction, of `act` with `other`.
void contradicts(const Case& c, std::size_t act, std::size_t other, const std::string& piece) {
  const auto found = contradictions(c);
  INFO("expected: " << piece);
  REQUIRE(found.size() == 1);
  INFO("found: " << found[0].message);
  CHECK(found[0].act == act);
  CHECK(found[0].other == other);
  CHECK(found[0].message.find(piece) != std::string::npos);
}

Act act(double at, Deed deed) { return {"act", at, std::move(deed)}; }

TEST_CASE("a timeline that makes sense has no contradiction", "[care]") {
  CHECK(contradictions(with({
                           act(-0.5, SetWarmer{}),
                           act(-0.3, LayOutFilm{}),
                           act(-0.1, MoveTo{}),
                           act(0.01, ClampCord{}),
                           act(0.02, DrySkin{}),
                           act(0.02, PutOnHat{}),
                           act(0.05, CoverBowel{}),
                           act(0.1, PassTube{}),
                           act(0.2, FreeDrainage{}),
                           act(0.3, Aspirate{}),
                           act(0.4, ReplaceGastricLoss{{}, 4.0}),
                           act(0.5, Infuse{{}, 2.0}),
                           act(0.6, Bolus{{}, 10.0, 0.5}),
                           act(0.7, Place{Position::lateral}),
                           act(0.8, LoseBlood{1.0, 0.0, 0.1}),
                           act(1.0, UncoverBowel{}),
                           act(1.1, CoverBowel{}),
                           act(2.0, StopInfusion{}),
                           act(3.0, ReduceBowel{0.5}),
                           act(4.0, CloseAbdomen{}),
                       }))
            .empty());
  CHECK(contradictions(with({act(-1.0, SetControl{0, 1.0}), act(1.0, Breathe{Breathing::mask}),
                             act(2.0, BeActive{1.4})}))
            .empty());
}

TEST_CASE("covering twice names both covers", "[care]") {
  contradicts(with({act(1, CoverBowel{}), act(2, CoverBowel{})}), 1, 0, "covered already");
  CHECK(contradictions(with({act(1, CoverBowel{}), act(2, UncoverBowel{}), act(3, CoverBowel{})}))
            .empty());
}

TEST_CASE("what needs the birth is refused before it", "[care]") {
  for (const Deed& deed : std::vector<Deed>{DrySkin{}, PutOnHat{}, ClampCord{}, CoverBowel{},
                                            PassTube{}, Infuse{{}, 1.0}, Bolus{{}, 1.0, 1.0},
                                            BeActive{1.0}, Breathe{Breathing::tube}})
    contradicts(with({act(-0.1, deed)}), 0, nothing, "before the birth");
  contradicts(with({act(0.1, LayOutFilm{})}), 0, nothing, "before the birth");
}

TEST_CASE("one cord, one tube, one replacement", "[care]") {
  contradicts(with({act(0.01, ClampCord{}), act(0.02, ClampCord{})}), 1, 0, "clamped already");
  contradicts(with({act(1, PassTube{}), act(2, PassTube{})}), 1, 0, "in already");
  contradicts(with({act(1, PassTube{}), act(2, ReplaceGastricLoss{{}, 4.0}),
                    act(3, ReplaceGastricLoss{{}, 4.0})}),
              2, 1, "replaced already");
}

TEST_CASE("the stomach is reached by a tube only", "[care]") {
  contradicts(with({act(1, Aspirate{})}), 0, nothing, "tube");
  contradicts(with({act(1, FreeDrainage{})}), 0, nothing, "tube");
  contradicts(with({act(1, ReplaceGastricLoss{{}, 4.0})}), 0, nothing, "tube");
}

TEST_CASE("covers come off and are wetted only when they are on", "[care]") {
  CoverBowel slow;
  slow.over = 0.5;
  contradicts(with({act(1, UncoverBowel{})}), 0, nothing, "no cover");
  contradicts(with({act(1, slow), act(1.2, UncoverBowel{})}), 1, 0, "not on yet");
  contradicts(with({act(1, CoverBowel{}), act(2, Rewet{})}), 1, nothing, "no dressing");
  CoverBowel gauze = slow;
  gauze.cover.dressing = true;
  contradicts(with({act(1, gauze), act(1.2, Rewet{})}), 1, 0, "not on yet");
  CHECK(contradictions(with({act(1, gauze), act(2, Rewet{})})).empty());
}

TEST_CASE("bowel that is inside is neither covered nor put back nor turned", "[care]") {
  for (const Deed& deed :
       std::vector<Deed>{CoverBowel{}, ReduceBowel{0.5}, CloseAbdomen{}, Place{Position::lateral}})
    contradicts(with({act(1, deed)}, false), 0, nothing, "lies inside");
}

TEST_CASE("after the abdomen is closed there is nothing to cover or put back", "[care]") {
  contradicts(with({act(1, CloseAbdomen{}), act(2, CoverBowel{})}), 1, 0, "closed");
  contradicts(with({act(1, CloseAbdomen{}), act(2, ReduceBowel{0.5})}), 1, 0, "closed");
  contradicts(with({act(1, CloseAbdomen{}), act(2, CloseAbdomen{})}), 1, 0, "closed");
  CoverBowel slow;
  slow.over = 0.5;
  contradicts(with({act(1, slow), act(1.2, CloseAbdomen{})}), 1, 0, "not finished");
}

TEST_CASE("maintenance is stopped only when it runs, and nothing lies after the end", "[care]") {
  contradicts(with({act(1, StopInfusion{})}), 0, nothing, "no maintenance");
  contradicts(with({act(25, PutOnHat{})}), 0, nothing, "after the end");
}

TEST_CASE("all contradictions are named at once", "[care]") {
  CHECK(contradictions(with({act(1, Aspirate{}), act(2, UncoverBowel{}), act(3, StopInfusion{})}))
            .size() == 3);
}

}  // namespace
}  // namespace serosa::care
