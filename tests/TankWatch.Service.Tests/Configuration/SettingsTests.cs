using System.Collections;
using System.Text.Json;
using TankWatch.Service.Configuration;
using TankWatch.Service.Tests.Commands;
using Xunit;

namespace TankWatch.Service.Tests.Configuration;

public sealed class SettingsTests : IDisposable
{
    private readonly string folder = Directory.CreateTempSubdirectory("settings-").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public void Without_anything_given_the_published_defaults_count()
    {
        var read = Read(null);
        Assert.Empty(read.Faults);
        var s = read.Settings;
        Assert.Equal(("./data", "http://127.0.0.1:8080"), (s.Data.Path, s.Http.Urls));
        Assert.Equal((MqttMode.Embedded, 1883, "127.0.0.1", 1883), (s.Mqtt.Mode, s.Mqtt.ListenPort, s.Mqtt.ListenAddress, s.Mqtt.Port));
        Assert.Equal((null, "tankwatch@localhost", null), (s.Mail.SmtpHost, s.Mail.From, s.Mail.PickupFolder));
        Assert.Equal((SeriesKind.Embedded, LedgerKind.Embedded, ClusterKind.None), (s.Series.Kind, s.Ledger.Kind, s.Cluster.Kind));
    }

    [Fact]
    public void A_flag_beats_the_environment_and_the_environment_beats_the_file()
    {
        const string file = """{ "Mqtt": { "ListenPort": 1, "Port": 1, "ClientId": "file" } }""";
        var s = Sound(Read(file, Env(("TANKWATCH_MQTT__PORT", "2"), ("TANKWATCH_MQTT__CLIENTID", "environment")), ("Mqtt:ClientId", "flag")));
        Assert.Equal((1, 2, "flag"), (s.Mqtt.ListenPort, s.Mqtt.Port, s.Mqtt.ClientId));
    }

    [Fact]
    public void Keys_are_read_whatever_their_case_and_an_empty_value_is_not_given()
    {
        var s = Sound(Read(null, Env(("TANKWATCH_mqtt__listenPort", " 1884 "), ("TANKWATCH_MAIL__SMTPHOST", ""))));
        Assert.Equal((1884, null), (s.Mqtt.ListenPort, s.Mail.SmtpHost));
    }

    [Fact]
    public void Other_programs_variables_and_the_frameworks_own_sections_are_left_alone() =>
        Sound(Read("""{ "Serilog": { "MinimumLevel": "Warning" }, "AllowedHosts": "water.example" }""", Env(("MQTT__HOST", "x"), ("PATH", "x"))));

    [Fact]
    public void All_faults_are_told_at_once_each_with_its_key_and_its_environment_name()
    {
        var read = Read(
            """{ "Mqtt": { "ListenPort": "many", "Tls": "perhaps" }, "Mail": { "From": "nobody" } }""",
            Env(("TANKWATCH_MQTT__PORT", "65536"), ("TANKWATCH_MQTT__MODE", "external"), ("TANKWATCH_SERIES__KIND", "paper")),
            ("Http:Urls", "ftp://x"), ("Mqtt:ListenAddress", "localhost"), ("Mail:Security", "some"));
        string[] keys = ["Http:Urls", "Mail:From", "Mail:Security", "Mqtt:Host", "Mqtt:ListenAddress", "Mqtt:ListenPort", "Mqtt:Port", "Mqtt:Tls", "Series:Kind"];
        Assert.Equal(keys, read.Faults.Select(fault => fault.Key).Order(StringComparer.Ordinal));
        Assert.All(read.Faults, fault => Assert.StartsWith(
            $"{fault.Key} (TANKWATCH_{fault.Key.Replace(":", "__", StringComparison.Ordinal).ToUpperInvariant()}): ", fault.ToString(), StringComparison.Ordinal));
        Assert.False(read.IsSound);
    }

    [Theory]
    [InlineData("Mqtt:Hots", "Mqtt:Host")]
    [InlineData("MQTT_HOST", "Mqtt:Host")]
    [InlineData("Mail:SmtpHostt", "Mail:SmtpHost")]
    [InlineData("Data:Pfad", null)]
    [InlineData("Weather:Station:City", null)]
    public void A_misspelt_key_is_a_fault_wherever_it_stands(string key, string? meant)
    {
        var nested = key.Split(':').Reverse().Aggregate("\"x\"", (inner, name) => $$"""{ {{JsonSerializer.Serialize(name)}}: {{inner}} }""");
        foreach (var read in (SettingsRead[])[Read(nested), Read(null, Env(("TANKWATCH_" + key.Replace(":", "__", StringComparison.Ordinal), "x"))), Read(null, Env(), (key, "x"))])
        {
            var fault = Assert.Single(read.Faults);
            Assert.Equal(key, fault.Key);
            Assert.Equal(meant is not null, fault.Message.Contains($"Was {meant} meant?", StringComparison.Ordinal));
        }
    }

    [Theory]
    [InlineData("Mqtt:Mode", "external", "Mqtt:Host")]
    [InlineData("Mqtt:PasswordFile", "FILE", "Mqtt:User")]
    [InlineData("Mqtt:CaFile", "FILE", "Mqtt:Tls")]
    [InlineData("Mail:SmtpPort", "25", "Mail:SmtpHost")]
    public void A_setting_that_needs_another_says_which(string key, string value, string needed)
    {
        var file = Path.Combine(folder, "secret");
        File.WriteAllText(file, "secret");
        Assert.Equal(needed, Assert.Single(Read(null, Env(), (key, value == "FILE" ? file : value)).Faults).Key);
    }

    [Fact]
    public void External_mode_with_a_host_is_sound() =>
        Assert.Equal("broker.example", Sound(Read(null, Env(), ("Mqtt:Mode", "external"), ("Mqtt:Host", "broker.example"))).Mqtt.Host);

    [Fact]
    public void A_password_file_that_is_missing_is_a_fault_that_does_not_repeat_what_may_be_the_password()
    {
        var fault = Assert.Single(Read(null, Env(), ("Mqtt:User", "u"), ("Mqtt:PasswordFile", "hunter2")).Faults);
        Assert.Equal("Mqtt:PasswordFile", fault.Key);
        Assert.DoesNotContain("hunter2", fault.ToString(), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("Series:Kind", "influxdb")]
    [InlineData("Ledger:Kind", "postgresql")]
    [InlineData("Cluster:Kind", "orleans")]
    public void What_comes_with_a_later_version_says_so(string key, string value)
    {
        var fault = Assert.Single(Read(null, Env(), (key, value)).Faults);
        Assert.Equal(key, fault.Key);
        Assert.Contains("later version", fault.Message, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("{ \"Mqtt\": ")]
    [InlineData("Mqtt: embedded")]
    public void A_file_that_is_not_JSON_is_one_fault_beside_the_others(string file)
    {
        var read = Read(file, Env(("TANKWATCH_MQTT__PORT", "0")));
        Assert.Equal([SettingsReader.FileName, "Mqtt:Port"], read.Faults.Select(fault => fault.Key));
        Assert.All(read.Faults, fault => Assert.DoesNotContain('\n', fault.ToString()));
    }

    [Theory]
    [InlineData("""{ "Mqtt": "embedded" }""", "Mqtt")]
    [InlineData("""{ "Mqtt": { "Host": [ "a", "b" ] } }""", "Mqtt:Host")]
    public void A_value_of_the_wrong_shape_is_a_fault(string file, string key) =>
        Assert.Contains(Read(file).Faults, fault => fault.Key == key);

    [Fact]
    public async Task The_command_that_checks_tells_every_fault_on_a_line_of_its_own()
    {
        var ran = await Shell.RunAsync("config", "check", "--Mqtt:Port", "0", "--Mqtt:Mode=external", "--Mail:Form", "a@b.example");
        Assert.Equal((2, ""), (ran.Exit, ran.Out));
        foreach (var start in (string[])["Mqtt:Port (TANKWATCH_MQTT__PORT): ", "Mqtt:Host (TANKWATCH_MQTT__HOST): ", "Mail:Form (TANKWATCH_MAIL__FORM): "])
        {
            Assert.Single(ran.ErrorLines, line => line.StartsWith(start, StringComparison.Ordinal));
        }

        Assert.Equal(3, ran.ErrorLines.Length);
        (await Shell.RunAsync("config", "check")).Succeeded();
    }

    private SettingsRead Read(string? file, Hashtable? environment = null, params (string Key, string Value)[] flags)
    {
        var path = Path.Combine(folder, SettingsReader.FileName);
        File.Delete(path);
        if (file is not null)
        {
            File.WriteAllText(path, file);
        }

        return SettingsReader.Read(folder, environment ?? new Hashtable(), flags.ToDictionary(flag => flag.Key, flag => flag.Value));
    }

    private static Hashtable Env(params (string Name, string Value)[] variables) => new(variables.ToDictionary(v => v.Name, v => v.Value));

    private static Settings Sound(SettingsRead read)
    {
        Assert.Empty(read.Faults);
        return read.Settings;
    }
}
