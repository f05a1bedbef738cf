package rig

// calibrationFields and those below list the keys of each table, for reading and for writing alike.
func calibrationFields(c *Calibration) []field {
	return []field{
		{key: "name", into: &c.Name, must: true, want: "the calibration's name, which is that of the file"},
		{key: "joint", into: &c.Joint, must: true, want: `the joint's name, as in joint = "knee"`},
		{key: "from", into: &c.From, want: "the calibration that the other steps were taken from"},
		{key: "tool", into: &c.Tool, want: "the program that wrote it"},
	}
}

func madeFields(m *Made) []field {
	return []field{
		{key: "date", into: &m.Date, must: true, want: "date and time with zone, as in date = 2026-03-01T10:15:00+01:00"},
		{key: "who", into: &m.Who, want: "who did it"},
		{key: "serial", into: &m.Serial, want: "what marks the sensor or servo"},
		{key: "run", into: &m.Run, want: "the run the points come from"},
	}
}

func correctionFields(s correctionStep, c *Correction) []field {
	u := "_" + s.unit
	constant := "the constant as it was written"
	head := madeFields(&c.Made)
	if s.mount != nil {
		head = append(head,
			field{key: "sensor_zero_deg", into: &c.Mount.ZeroDeg, want: "the sensor's zero in bench.toml when the points were read"},
			field{key: "sensor_reversed", into: &c.Mount.Reversed, want: "its sense in bench.toml then"})
	}
	return append(head,
		field{key: "model", into: (*string)(&c.Model), must: true, want: `"zero", "line", "curve" or "waves"`},
		field{key: "at" + u, into: &c.At, want: "the reading at which zero" + u + " holds"},
		field{key: "zero" + u, into: &c.Zero, must: true, want: constant},
		field{key: "zero_u" + u, into: &c.ZeroU, zero: true, ok: notNegative, want: "its standard uncertainty, or leave the key out"},
		field{key: "scale", into: &c.Scale, want: constant},
		field{key: "scale_u", into: &c.ScaleU, zero: true, ok: notNegative, want: "its standard uncertainty, or leave the key out"},
		field{key: "square_per" + u, into: &c.Square, want: constant},
		field{key: "cube_per" + u + "2", into: &c.Cube, want: constant},
		field{key: "sin1" + u, into: &c.Sin1, want: constant},
		field{key: "cos1" + u, into: &c.Cos1, want: constant},
		field{key: "sin2" + u, into: &c.Sin2, want: constant},
		field{key: "cos2" + u, into: &c.Cos2, want: constant},
		field{key: "from" + u, into: &c.From, must: true, want: "the least reading"},
		field{key: "to" + u, into: &c.To, must: true, want: "the greatest reading"},
		field{key: "residual_sd" + u, into: &c.ResidualSD, zero: true, ok: notNegative, want: "the scatter the fit leaves"},
		field{key: "freedom", into: &c.Freedom, ok: notNegative, want: "its degrees of freedom"},
		field{key: "form_u" + u, into: &c.FormU, zero: true, ok: notNegative, want: "the standard uncertainty of what the fit leaves, or leave the key out"},
		field{key: "within" + u, into: &c.Within, ok: notNegative, want: "what the reference is right within"},
	)
}

func correctionPointFields(s correctionStep, p *CalibrationPoint) []field {
	return []field{
		{key: s.reference + "_" + s.unit, into: &p.Reference, must: true, want: "what the " + s.reference + " said"},
		{key: "reading_" + s.unit, into: &p.Reading, must: true, want: "what the sensor showed"},
		{key: "sd_" + s.unit, into: &p.SD, ok: notNegative, want: "the standard deviation of one sample"},
		{key: "samples", into: &p.N, ok: notNegative, want: "how many samples the reading is the mean of"},
		{key: "residual_" + s.unit, into: &p.Residual, must: true, want: "what the fit leaves"},
	}
}

func pulseFields(p *PulseMap) []field {
	out := append(madeFields(&p.Made),
		field{key: "at_us", into: &p.AtUS, must: true, want: "the pulse at which up_deg and down_deg hold"})
	for _, l := range []struct {
		key string
		of  *PulseLine
	}{{"up_", &p.Up}, {"down_", &p.Down}} {
		out = append(out,
			field{key: l.key + "deg", into: &l.of.Deg, must: true, want: "the joint's angle at at_us"},
			field{key: l.key + "u_deg", into: &l.of.DegU, ok: notNegative, want: "its standard uncertainty"},
			field{key: l.key + "deg_per_us", into: &l.of.DegPerUS, must: true, want: "degrees of the joint per us"},
			field{key: l.key + "u_deg_per_us", into: &l.of.DegPerUSU, ok: notNegative, want: "its standard uncertainty"})
	}
	return append(out,
		field{key: "gap_deg", into: &p.GapDeg, want: "the upper line less the lower"},
		field{key: "gap_u_deg", into: &p.GapDegU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "side_deg", into: &p.SideDeg, want: "half the step at hang_deg"},
		field{key: "side_u_deg", into: &p.SideDegU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "hang_deg", into: &p.DownDeg, want: "the angle at which the link hangs down"},
		field{key: "residual_sd_deg", into: &p.ResidualSD, ok: notNegative, want: "the scatter the lines leave"},
		field{key: "freedom", into: &p.Freedom, ok: notNegative, want: "its degrees of freedom"},
		field{key: "from_us", into: &p.FromUS, must: true, want: "the least pulse"},
		field{key: "to_us", into: &p.ToUS, must: true, want: "the greatest pulse"},
		field{key: "within_deg", into: &p.WithinDeg, ok: notNegative, want: "what the angle is right within"})
}

func pulsePointFields(p *PulsePoint) []field {
	return []field{
		{key: "pulse_us", into: &p.PulseUS, must: true, ok: positive, want: "the pulse"},
		{key: "direction", into: &p.Direction, must: true, want: "1 or -1"},
		{key: "reading_deg", into: &p.ReadingDeg, must: true, want: "what the joint's sensor showed"},
		{key: "angle_deg", into: &p.AngleDeg, must: true, want: "the corrected angle"},
		{key: "sd_deg", into: &p.SD, ok: notNegative, want: "the standard deviation of one sample"},
		{key: "samples", into: &p.N, ok: notNegative, want: "how many samples"},
		{key: "residual_deg", into: &p.Residual, must: true, want: "what the line leaves"},
	}
}

// torqueFields: scale is in A/N·m for the law "motor", in A/(N·m)² for "duty".
func torqueFields(t *TorqueScale) []field {
	return append(madeFields(&t.Made),
		field{key: "law", into: (*string)(&t.Law), want: `"motor", "duty", or nothing where the points do not decide`},
		field{key: "undecided", into: &t.Undecided, want: "why the law is not known"},
		field{key: "scale", into: &t.Scale, ok: notNegative, want: "current per torque, or per its square"},
		field{key: "scale_u", into: &t.ScaleU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "idle_a", into: &t.IdleA, want: "the current without torque"},
		field{key: "idle_u_a", into: &t.IdleAU, ok: notNegative, want: "its standard uncertainty"},
		field{key: "residual_sd_a", into: &t.ResidualSD, ok: notNegative, want: "the scatter the fit leaves"},
		field{key: "freedom", into: &t.Freedom, ok: notNegative, want: "its degrees of freedom"})
}

func torquePointFields(p *TorquePoint) []field {
	return []field{
		{key: "torque_nm", into: &p.TorqueNm, must: true, want: "the torque at the servo's shaft"},
		{key: "mass_kg", into: &p.MassKg, ok: notNegative, want: "the weight"},
		{key: "lever_m", into: &p.LeverM, ok: notNegative, want: "its lever"},
		{key: "angle_deg", into: &p.AngleDeg, want: "the angle from hanging straight down"},
		{key: "reading_a", into: &p.ReadingA, must: true, want: "what the current sensor showed"},
		{key: "current_a", into: &p.CurrentA, must: true, want: "the corrected current"},
		{key: "sd_a", into: &p.SD, ok: notNegative, want: "the standard deviation of one sample"},
		{key: "samples", into: &p.N, ok: notNegative, want: "how many samples"},
		{key: "residual_a", into: &p.Residual, must: true, want: "what the fit leaves"},
	}
}
