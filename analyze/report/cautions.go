package report

// Cautions lists what is usual in the trade to mind before a leg moves. It is no substitute for
// local rules; the first entry says what the software is not.
func Cautions() []string {
	return []string{
		"The software stop is a convenience, not a safety device. What stops a joint for certain is taking the power off the servos by hand: keep a switch or a plug in their supply within reach. General rules for machines are in ISO 12100, ISO 13850 and IEC 60204-1; conformity with none of them is claimed.",
		"Clamp the stand. Power the controller first and arm last: a servo may jump when power comes on. Keep fingers, hair and tools out while it is armed. A loaded leg drops when power goes, so block it.",
		"Mind pinch points between links, belt and pulley, horn and case. A stalled servo may let go without warning.",
		"Tensioned belts, springs and raised weights hold energy, and printed parts break into splinters: wear eye protection.",
		"Let servos cool before touching them. A case above about 60 °C burns skin and softens common printed plastics.",
		"Lithium packs: the charger made for them, the right number of cells, never unattended, on a surface that cannot burn. No swollen, pierced or cold pack. A fuse near the pack, sized for the wire. A bench supply with a current limit is the better start.",
		"Join the grounds in one point, let no servo current return through the controller, and never connect a second supply in parallel with the computer's.",
		"Tie weights on, keep feet from under them, and begin every new routine slowly and over a small range.",
		"Where local electrical, fire, battery or workplace rules say more, they hold. Mains wiring and fixed installations are work for licensed people.",
	}
}
