// SPDX-License-Identifier: Apache-2.0
#include <optional>

#include "care/case.hpp"

namespace serosa::care {
namespace {

template <class... Fs>
struct Overload : Fs... {
  using Fs::operator()...;
};
template <class... Fs>
Overload(Fs...) -> Overload<Fs...>;

/// What has been done so far, by the index of the act that did it.
struct Walk {
  static constexpr std::size_t npos = Contradiction::npos;
  const Case& c;
  std::vector<Contradiction> found;
  std::size_t now = 0;
  std::size_t cover = npos, tube = npos, closed = npos, infusion = npos, cord = npos,
              replacing = npos;
  double cover_complete = 0;
  bool dressed = false;

  void refuse(std::string message, std::size_t other = npos) {
    found.push_back({now, other, std::move(message)});
  }
  void needs_tube(const char* what) {
    if (tube == npos) refuse(std::string(what) + " needs a tube: pass one before");
  }
  void needs_bowel_outside(const char* what) {
    if (!c.exposed) refuse(std::string(what) + ": the bowel of this case lies inside");
    if (closed != npos) refuse(std::string(what) + " after the abdomen was closed", closed);
  }
  void take_cover_off() {
    cover = npos;
    dressed = false;
  }

  void visit(const Act& act) {
    const bool before_birth = act.at < 0;
    std::visit(Overload{[&](const SetWarmer&) {},
                        [&](const LayOutFilm&) {
                          if (!before_birth) refuse("film is laid out before the birth");
                        },
                        [&](const MoveTo&) {},
                        [&](const ClampCord&) {
                          if (cord != npos) refuse("the cord is clamped already", cord);
                          cord = now;
                        },
                        [&](const CoverBowel& d) {
                          // A bag also shelters the skin of a baby whose bowel lies inside.
                          if (!d.cover.covers_skin) needs_bowel_outside("covering");
                          if (cover != npos)
                            refuse("the bowel is covered already: uncover it first", cover);
                          cover = now;
                          cover_complete = act.at + d.over;
                          dressed = d.cover.dressing;
                        },
                        [&](const UncoverBowel&) {
                          if (cover == npos)
                            refuse("there is no cover to take off");
                          else if (act.at < cover_complete)
                            refuse("the cover is not on yet", cover);
                          take_cover_off();
                        },
                        [&](const Rewrap& d) {
                          if (cover == npos)
                            refuse("there is no cover to close anew");
                          else if (act.at < cover_complete)
                            refuse("the cover is not on yet", cover);
                          cover_complete = act.at + d.over;
                        },
                        [&](const Rewet&) {
                          if (!dressed)
                            refuse("there is no dressing to wet");
                          else if (act.at < cover_complete)
                            refuse("the dressing is not on yet", cover);
                        },
                        [&](const PassTube&) {
                          if (tube != npos) refuse("a tube is in already", tube);
                          tube = now;
                        },
                        [&](const Aspirate&) { needs_tube("aspirating"); },
                        [&](const FreeDrainage&) { needs_tube("free drainage"); },
                        [&](const ReplaceGastricLoss&) {
                          needs_tube("replacing gastric losses");
                          if (replacing != npos)
                            refuse("gastric losses are replaced already", replacing);
                          replacing = now;
                        },
                        [&](const Infuse&) { infusion = now; },
                        [&](const AdjustInfusion&) {
                          if (infusion == npos) refuse("no maintenance is running");
                        },
                        [&](const StopInfusion&) {
                          if (infusion == npos) refuse("no maintenance is running");
                          infusion = npos;
                        },
                        [&](const Place&) {
                          if (!c.exposed) refuse("the bowel of this case lies inside");
                        },
                        [&](const ReduceBowel&) { needs_bowel_outside("putting bowel back"); },
                        [&](const CloseAbdomen&) {
                          needs_bowel_outside("closing the abdomen");
                          if (cover != npos && act.at < cover_complete)
                            refuse("the wrapping is not finished", cover);
                          take_cover_off();
                          closed = now;
                        },
                        [&](const auto&) {}},
               act.deed);
    const bool may_be_before_birth = std::holds_alternative<SetWarmer>(act.deed) ||
                                     std::holds_alternative<LayOutFilm>(act.deed) ||
                                     std::holds_alternative<MoveTo>(act.deed) ||
                                     std::holds_alternative<SetControl>(act.deed);
    if (before_birth && !may_be_before_birth) refuse("can't be done before the birth");
    if (act.at > c.until) refuse("lies after the end of the case");
  }
};

}  // namespace

std::vector<Contradiction> contradictions(const Case& c) {
  Walk walk{c, {}};
  for (walk.now = 0; walk.now < c.timeline.size(); ++walk.now) walk.visit(c.timeline[walk.now]);
  return walk.found;
}

}  // namespace serosa::care
