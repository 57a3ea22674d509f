using TankWatch.Core.Sites;

namespace TankWatch.Service.Pages.Building;

/// <summary>
/// An elevation of one pump and its tanks in thin lines, in a box of 360 by <see cref="Height"/>: what is installed, never how much water there is.
/// Its letters are 14 high, so that they are legible on a screen 390 wide.
/// </summary>
/// <param name="Pump">The pump's id.</param>
/// <param name="Height">Of the box.</param>
/// <param name="PumpY">Where the pump's mark stands on the riser.</param>
/// <param name="Lines">Walls, riser, ticks and links.</param>
/// <param name="Texts">Names, cut to their room.</param>
/// <param name="Units">Marks of field units.</param>
public sealed record ArrangementDrawing(
    string Pump, int Height, int PumpY, IReadOnlyList<DrawnLine> Lines, IReadOnlyList<DrawnText> Texts, IReadOnlyList<DrawnMark> Units)
{
    public const int Width = 360;
    public const int RiserX = 56;

    internal static ArrangementDrawing Of(SitePlan plan, Pump pump) => new Draughtsman(plan, pump).Draw();

    /// <summary>Whether a tank's probes are lettered, for want of room for their names; the list explains the letters.</summary>
    internal static bool UsesLetters(SitePlan plan, Tank tank)
    {
        var room = tank.Role == TankRole.Sump
            ? Draughtsman.SumpRoom
            : plan.Pumps.Where(pump => pump.To.Contains(tank.Index)).Select(pump => Draughtsman.RoomBeside(pump.To.Length)).DefaultIfEmpty(0).Min();
        return tank.Probes.Any(probe => Words.Plain(probe.Name).Length > Draughtsman.Letters(room));
    }

    /// <summary>Draws from the top down.</summary>
    private sealed class Draughtsman(SitePlan plan, Pump pump)
    {
        private const int FirstTankX = 76;
        private const int TankTop = 36;
        private const int LetterHeight = 18;
        private const int LetterWidth = 7; // At 14 high, on the generous side.
        private const int LabelGap = 13;
        private const int SumpX = RiserX - 12;
        private const int SumpWidth = 130;

        public const int SumpRoom = Width - SumpX - SumpWidth;

        private readonly List<DrawnLine> lines = [];
        private readonly List<DrawnText> texts = [];
        private readonly List<DrawnMark> marks = [];
        private readonly Dictionary<int, int> linkedFrom = []; // Unit to the y of its topmost device.

        public ArrangementDrawing Draw()
        {
            var tanks = pump.To.Select(tank => plan.Tanks[tank]).ToList();
            var column = (Width - FirstTankX) / tanks.Count;
            var height = tanks.Max(HeightOf);
            for (var i = 0; i < tanks.Count; i++)
            {
                DrawFilled(tanks[i], FirstTankX + (i * column), column, height);
            }

            var links = TankTop + height + 10;
            for (var i = 0; i < tanks.Count; i++)
            {
                var x = FirstTankX + (i * column) + 8;
                Link(ReporterOfTank(tanks[i]), x, links + (8 * i), TankTop + height);
            }

            var pumpY = links + (8 * tanks.Count) + 28;
            Link(plan.Units.FirstOrDefault(unit => unit.Pumps.Contains(pump.Index)), RiserX - 11, pumpY, null);
            Say(RiserX + 20, pumpY + 5, Words.Say("drawing.pump", ("id", pump.Id.Value)), Width - RiserX - 20);
            var bottom = DrawSource(pumpY + 44);
            Line(RiserX, 10, RiserX, bottom.Suction);
            Line(RiserX, 10, FirstTankX + ((tanks.Count - 1) * column) + 10, 10);
            return new(pump.Id.Value, DrawUnits(bottom.Y + 26), pumpY, lines, texts, marks);
        }

        private static int HeightOf(Tank tank) => Math.Max(96, ((tank.Probes.Length + 1) * LetterHeight) + 8);

        private FieldUnit? ReporterOfTank(Tank tank) => plan.Units.FirstOrDefault(unit => unit.Tanks.Contains(tank.Index));

        private void DrawFilled(Tank tank, int x, int column, int height)
        {
            var width = column - RoomBeside(pump.To.Length);
            Line(x + 10, 10, x + 10, TankTop + 8);
            Say(x + 16, TankTop - 6, tank.Id.Value, column - 18);
            DrawTank(tank, x, TankTop, width, height, column - width);
        }

        /// <returns>The lowest line drawn, and how far down the suction reaches.</returns>
        private (int Y, int Suction) DrawSource(int top)
        {
            Line(20, top - 12, Width, top - 12, DrawnLine.Ground);
            if (pump.From is not { } from)
            {
                Line(RiserX - 7, top - 12, RiserX - 7, top + 46);
                Line(RiserX + 7, top - 12, RiserX + 7, top + 46);
                Say(RiserX + 20, top + 22, Words.Say("drawing.bore"), Width - RiserX - 20);
                return (top + 50, top + 38);
            }

            var sump = plan.Tanks[from];
            var height = HeightOf(sump);
            Say(FirstTankX, top + 4, sump.Id.Value, Width - FirstTankX);
            DrawTank(sump, SumpX, top + 10, SumpWidth, height, SumpRoom);
            Link(ReporterOfTank(sump), SumpX, top + 10 + (height / 2), null);
            return (top + 10 + height, top + height - 2);
        }

        /// <summary>Walls without a lid, and a tick with its name for each probe.</summary>
        private void DrawTank(Tank tank, int x, int top, int width, int height, int room)
        {
            var bottom = top + height;
            Line(x, top, x, bottom);
            Line(x, bottom, x + width, bottom);
            Line(x + width, top, x + width, bottom);
            var letters = UsesLetters(plan, tank);
            var next = bottom + LetterHeight; // Names that would touch move up; the tick stays where the volume is.
            for (var i = 0; i < tank.Probes.Length; i++)
            {
                var probe = tank.Probes[i];
                var y = bottom - (int)Math.Round(height * Math.Min(1, probe.Volume.Value / tank.Capacity.Value));
                next = Math.Max(Math.Min(y, next - LetterHeight), top + ((tank.Probes.Length - 1 - i) * LetterHeight));
                Line(x + width - 12, y, x + width + 3, y);
                Line(x + width + 3, y, x + width + 10, next);
                Say(x + width + LabelGap, next + 5, letters ? ArrangementWords.Letter(i) : Label(probe, room), room - LabelGap);
            }
        }

        /// <summary>How many letters fit into the room beside a tank.</summary>
        public static int Letters(int room) => (room - LabelGap) / LetterWidth;

        public static int RoomBeside(int tanks)
        {
            var column = (Width - FirstTankX) / tanks;
            return column - (column >= 200 ? 110 : Math.Max(24, column * 2 / 5));
        }

        private static string Label(Probe probe, int room)
        {
            var (name, full) = (Words.Plain(probe.Name), Words.Say("drawing.probe", ("name", Words.Plain(probe.Name)), ("litres", Math.Round(probe.Volume.Value))));
            return full.Length <= Letters(room) ? full : name;
        }

        private void Link(FieldUnit? unit, int x, int y, int? from)
        {
            if (unit is null)
            {
                return;
            }

            if (from is { } top)
            {
                Line(x, top, x, y, DrawnLine.Link);
            }

            Line(x, y, Gutter(unit), y, DrawnLine.Link);
            linkedFrom.TryAdd(unit.Index, y);
        }

        private int DrawUnits(int y)
        {
            foreach (var unit in plan.Units.Where(unit => linkedFrom.ContainsKey(unit.Index)))
            {
                var x = Gutter(unit);
                Line(x, linkedFrom[unit.Index], x, y - 6, DrawnLine.Link);
                marks.Add(new(x - 6, y - 6));
                Say(x + 14, y + 5, Words.Say("drawing.unit", ("id", unit.Id.Value)), Width - x - 14);
                y += LetterHeight + 4;
            }

            return y;
        }

        /// <summary>Left of the riser, one line of links a unit.</summary>
        private int Gutter(FieldUnit unit) => 8 + (24 * unit.Index / plan.Units.Length);

        private void Line(int x1, int y1, int x2, int y2, string look = "") => lines.Add(new(x1, y1, x2, y2, look));

        private void Say(int x, int y, string text, int room)
        {
            var letters = Math.Max(1, room / LetterWidth);
            var plain = Words.Plain(text);
            texts.Add(new(x, y, plain.Length <= letters ? plain : string.Concat(plain.EnumerateRunes().Take(letters - 1).Select(rune => rune.ToString())) + "…"));
        }
    }
}

/// <param name="X1">From the start of the box.</param>
/// <param name="Y1">From its top.</param>
/// <param name="X2">From the start of the box.</param>
/// <param name="Y2">From its top.</param>
/// <param name="Look">Empty for a wall, else <see cref="Link"/> or <see cref="Ground"/>.</param>
public sealed record DrawnLine(int X1, int Y1, int X2, int Y2, string Look)
{
    public const string Link = "link";
    public const string Ground = "ground";
}

public sealed record DrawnText(int X, int Y, string Text);

/// <param name="X">Of the square's corner.</param>
/// <param name="Y">Of the square's corner.</param>
public sealed record DrawnMark(int X, int Y);
