package page

import (
	"html/template"

	"example.org/eclose/model/insects"
)

// Body plans: what an insect looks like from the bank, so that a row is known at
// a glance. Our own drawings, in ink on a field of 48 by 32; f is filled, s is
// drawn with a line.
type bodyPlan struct{ name, f, s string }

var (
	threeTails = bodyPlan{"mayfly with three tails",
		"M25 20C21 11 25 4 34 2C37 9 35 16 30 20Z",
		"M13 22q9 2 17-2q4-1 5-3M13 22Q7 19 2 10M13 22Q6 21 1 17M13 22Q7 24 1 24M24 20q-3-4-2-8M33 19l5 8M29 21l1 8M25 21l-4 8M35 17l4-3"}
	twoTails = bodyPlan{"mayfly with two tails",
		"M26 19C24 12 27 6 34 4C37 10 35 16 31 19Z",
		"M15 21q8 1 16-2q4-1 5-3M15 21Q8 19 2 12M15 21Q8 23 2 22M34 18l4 7M30 20l1 7M26 20l-3 7M36 16l4-2"}
	roofWings = bodyPlan{"caddisfly, wings like a roof",
		"M6 24L31 11Q37 12 37 18L34 21Z",
		"M6 24L34 21M36 14Q41 7 47 3M37 15Q42 11 47 10M33 21l6 7M27 22l1 7M21 23l-4 6M17 19l14-5"}
	flatWings = bodyPlan{"stonefly, wings flat on the back",
		"M7 12Q20 8 32 12V20Q20 24 7 20Q4 16 7 12Z",
		"M32 12h5q3 4 0 8h-5M7 16h25M5 14L1 10M5 18L1 22M39 13l8-5M39 19l8 5M34 12l2-7l4-2M34 20l2 7l4 2M27 11l-1-7l3-2M27 21l-1 7l3 2M19 9l-4-6M19 23l-4 6"}
	rolledWings = bodyPlan{"slender stonefly, wings rolled",
		"M6 18L33 13Q37 14 36 17L33 19L6 20Z",
		"M36 15Q42 9 47 8M36 16Q42 14 47 15M32 19l5 8M27 19l0 8M22 20l-4 7M8 19l25-3"}
	gnat = bodyPlan{"midge",
		"M12 21Q20 11 30 12Q27 18 14 23Z",
		"M9 24Q18 21 27 17q6-1 7 3M27 15q4-4 8-1M35 15q5-7 10-6M36 16q6-3 10-1M38 12l2-3M40 11l2-3M33 19Q40 17 46 26M29 19l4 10M25 20l-3 9"}
	stoutFly = bodyPlan{"stout two-winged fly",
		"M10 15Q22 4 33 9Q31 17 12 19Z",
		"M8 20Q10 25 20 24Q31 23 35 17Q40 15 39 11Q35 8 32 11M35 20l3 9M29 23l0 7l3 0M22 24l-5 6M38 12l4-3"}
	craneFly = bodyPlan{"crane fly",
		"M20 14Q10 3 3 5Q6 13 21 16ZM27 14Q37 3 45 5Q42 13 27 16Z",
		"M24 12Q24 22 23 28M24 12q-1-4 1-6M22 17Q10 16 6 30M22 19Q14 22 13 31M26 17Q38 16 42 30M26 19Q34 22 35 31M23 14Q14 12 2 17M26 14Q34 12 46 17"}
	ant = bodyPlan{"ant",
		"M5 17Q7 10 14 12Q19 14 18 18Q15 23 9 22Q5 21 5 17ZM21 17Q24 12 29 14Q31 17 28 20Q23 21 21 17ZM31 16Q34 10 39 12Q42 15 39 19Q34 21 31 16Z",
		"M18 17h3M29 17h3M38 12q1-6 5-5l3 4M40 14q4-3 6 2M23 20l-4 9M26 20l1 9M28 19l6 9M23 14l-4-8M27 13l3-8"}
	beetle = bodyPlan{"beetle",
		"M7 21Q8 8 21 7Q32 8 33 21Z",
		"M4 21h36Q42 14 36 12Q33 12 31 13M20 8L27 21M39 14l6-4M40 16l6 0M12 21l-4 7M21 21l0 7M30 21l5 7M12 14q5-5 10-4"}
	hopper = bodyPlan{"grasshopper or cricket",
		"M6 19Q18 11 33 14Q36 18 33 22Q18 24 6 19Z",
		"M33 14Q39 12 40 18Q38 22 33 22M39 14Q43 7 47 5M22 21Q12 14 12 5Q8 16 3 28M29 22l3 7M34 21l5 7M12 5l-2-1"}
	cicada = bodyPlan{"cicada or leafhopper",
		"M3 20L26 8Q30 10 31 15L27 20Z",
		"M26 8Q38 6 41 13Q41 19 36 21L22 22M31 11q4 4 2 10M36 21l4 7M30 22l0 7M24 22l-5 6M8 18l19-6M38 9q3 0 4 3M12 18l13-2"}
	worm = bodyPlan{"caterpillar or grub",
		"",
		"M4 28Q9 29 12 22Q15 8 24 8Q32 8 34 20Q36 28 44 26Q47 24 44 21Q40 22 38 18Q35 4 24 4Q11 4 8 20Q6 25 3 24ZM17 8l3 4M24 4l0 4M31 8l-3 3M12 16l4 1M36 15l-4 2M42 27l0 2M39 27l0 2M5 28l0 2"}
	dragonfly = bodyPlan{"dragonfly",
		"M28 14Q22 3 16 1Q13 6 27 15ZM30 14Q34 3 42 2Q44 7 31 15ZM28 17Q22 28 16 30Q14 26 27 16ZM30 17Q34 28 42 29Q43 25 31 16Z",
		"M3 15h22M3 17h22M25 14Q30 11 34 14Q36 16 34 17Q30 20 25 17M36 13q4 3 0 6q-3-3 0-6M9 15v2M15 15v2M21 15v2"}
)

// familyPlans overrule the plan of the order.
var familyPlans = map[string]bodyPlan{
	"Baetidae": twoTails, "Heptageniidae": twoTails, "Siphlonuridae": twoTails, "Isonychiidae": twoTails,
	"Leuctridae": rolledWings, "Taeniopterygidae": rolledWings, "Nemouridae": rolledWings, "Capniidae": rolledWings,
	"Chironomidae": gnat, "Tipulidae": craneFly, "Limoniidae": craneFly, "Formicidae": ant,
}

// keyPlans overrule those again, where the words of the catalogue's order hide
// the look.
var keyPlans = map[string]bodyPlan{
	"inchworm-american": worm, "nz-willow-grub": worm, "tas-willow-grub": worm, "pat-willow-worm": worm,
}

var orderPlans = map[string]bodyPlan{
	"Ephemeroptera": threeTails, "Trichoptera": roofWings, "Plecoptera": flatWings, "Diptera": stoutFly, "Megaloptera": roofWings, "Lepidoptera": roofWings,
	"Odonata": dragonfly, "Hymenoptera": ant, "Coleoptera": beetle, "Hemiptera": cicada, "Orthoptera": hopper,
}

func planOf(g *insects.Group) (bodyPlan, bool) {
	if p, ok := keyPlans[g.Key]; ok {
		return p, true
	}
	for _, f := range g.Family {
		if p, ok := familyPlans[f]; ok {
			return p, true
		}
	}
	p, ok := orderPlans[g.Order]
	return p, ok
}

// picture draws a group's body plan; empty where none fits.
func (s *site) picture(key string) template.HTML {
	g := s.groups[key]
	if g == nil {
		return ""
	}
	p, ok := planOf(g)
	if !ok {
		return ""
	}
	return p.svg()
}

func (p bodyPlan) svg() template.HTML {
	b := `<svg class="plan" viewBox="0 0 48 32" role="img" aria-label="` + template.HTMLEscapeString(p.name) + `">`
	if p.f != "" {
		b += `<path class="wing" d="` + p.f + `"/>`
	}
	return template.HTML(b + `<path d="` + p.s + `"/></svg>`) //nolint:gosec // our own drawing
}
