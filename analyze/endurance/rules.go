package endurance

import "fmt"

// Key names a rule.
type Key string

// The rules.
const (
	Cycles      Key = "cycles"
	Hours       Key = "hours"
	User        Key = "user"
	Away        Key = "away"
	Trip        Key = "trip"
	Lost        Key = "lost"
	Gaps        Key = "gaps"
	Heat        Key = "heat"
	Temperature Key = "temperature"
	Follow      Key = "follow"
	Blind       Key = "blind"
	Limit       Key = "limit"
	Fault       Key = "fault"
	Warning     Key = "warning"
	TrendAlarm  Key = "trend"
)

// Kind says at what time a rule looks.
type Kind string

// The kinds.
const (
	Goal  Kind = "goal"  // what was asked for is done
	Live  Kind = "live"  // while the joint moves
	Ended Kind = "ended" // how a run ended
	Check Kind = "check" // after a check sweep
)

// Rule is one reason to end an endurance test.
type Rule struct {
	Key  Key
	Kind Kind
	// When says in words when it ends the test, Next what to do then.
	When, Next string
	// Twice says that the check sweep is repeated at once, and the test ends when it says so again: of
	// many sweeps one may be wrong by chance.
	Twice bool
}

// The thresholds [common practice], all of them to be set by the builder where he knows better.
const (
	// HeatMost is the share of what a winding may carry for long; see Guard.
	HeatMost = 1.0
	// TempMostC is what a servo's case may reach: hotter burns skin and softens plastic.
	TempMostC = 60.0
	// FollowDeg and FollowS are by how much and how long a joint may lag behind its command.
	FollowDeg, FollowS = 15.0, 1.0
	// BlindS is how long the joint's angle may be missing.
	BlindS = 2.0
	// GapsMost is the share of its samples that a run may lose.
	GapsMost = 0.1
)

// Rules is the table of all rules, in the order in which they count.
func Rules() []Rule {
	return []Rule{
		{Away, Ended, "the computer sleeps or stands still for more than 5 s", "keep it from falling asleep; look at the joint, and the same command goes on from the count", false},
		{Trip, Ended, "the stand trips: current, supply, range or heartbeat", "see what jams, loads or feeds the joint; the count goes on with the next endure", false},
		{Follow, Live, "the joint stays 15 deg behind its command for 1 s", "look for a stall, a skipped tooth or a slipped horn: \"limbgauge sweep\" tells them apart", false},
		{Blind, Live, "the joint's angle is not seen for 2 s", "check the sensor's cable; what is not seen can not be guarded", false},
		{Temperature, Live, "the temperature passes what is allowed", "let it cool, lessen the load or slow the gait; --cool-down rests between", false},
		{Heat, Live, "the winding's heat by its current (I²t) passes what may last", "lessen the load or slow the gait; --cool-down rests between", false},
		{Lost, Ended, "the line, the stand or the host fails", "check cable and supply; what was recorded is kept and counts", false},
		{Gaps, Ended, "a run loses more than a tenth of its samples", "check the cable, or lower sample_hz: what is not seen can not be guarded", false},
		{Fault, Check, "a check sweep finds a fault", "repair it, note it with \"limbgauge service add\", and begin anew", false},
		{Limit, Check, "a measure of the check sweep fails its limit, twice", "the joint is worn by what you accept: repair or redesign; \"limbgauge trend\" shows since when", true},
		{TrendAlarm, Check, "a trend over the check sweeps warns, of a measure with a limit or a belt's tension", "\"limbgauge trend\" shows what gets worse and when it will matter: mend it before it does", false},
		{Warning, Check, "a check sweep warns, twice", "see \"limbgauge analyze\" for the evidence", true},
		{Cycles, Goal, "the cycles asked for are done", "\"limbgauge trend\" shows what they changed; --cycles with a greater number goes on", false},
		{Hours, Goal, "the hours asked for are done", "--hours with a greater number goes on", false},
		{User, Ended, "you stop it", "the same command goes on from the count", false},
	}
}

// RuleOf returns the rule of a key. It panics on a key that is none, which is a mistake of the caller.
func RuleOf(k Key) Rule {
	for _, r := range Rules() {
		if r.Key == k {
			return r
		}
	}
	panic("endurance: no rule is called " + string(k))
}

// GapsOf returns the *Stop of a run that lost too many samples, nil for none.
func GapsOf(lost, kept int) *Stop {
	if share := float64(lost) / float64(max(1, lost+kept)); share > GapsMost {
		return stop(Gaps, fmt.Sprintf("%.0f %% of the samples were lost", 100*share))
	}
	return nil
}

// Stop is the end of a test: by which rule, and what it saw.
type Stop struct {
	Rule Rule
	Why  string
}

// Error says the rule, as a run that it ended keeps it.
func (s *Stop) Error() string { return fmt.Sprintf("by rule %q: %s", s.Rule.Key, s.Why) }

func stop(k Key, why string) *Stop { return &Stop{RuleOf(k), why} }
